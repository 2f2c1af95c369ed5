// What a keyer types for a mark. The twin of scoring.parse_typed_mark, which is the authority; a test compares both on
// every input of up to four characters. Marks are whole tenths.

const TYPED = /^([0-9]{1,4})(?:[.,]([0-9])0{0,3})?$/;

export function markText(tenths) {
  const whole = Math.floor(tenths / 10);
  const tenth = tenths % 10;
  return tenth ? `${whole}.${tenth}` : `${whole}`;
}

// As it is written on paper, with its decimal.
export function markAsWritten(tenths) {
  return `${Math.floor(tenths / 10)}.${tenths % 10}`;
}

export function holds(scale, tenths) {
  return tenths >= scale.minimum && tenths <= scale.maximum && (tenths - scale.minimum) % scale.step === 0;
}

export function instruction(scale) {
  const limits =
    scale.minimum === 0 ? `${markText(scale.maximum)} or less` : `${markText(scale.minimum)} to ${markText(scale.maximum)}`;
  return `Enter ${limits} in steps of ${markText(scale.step)}.`;
}

function fault(scale, tenths) {
  let wrong = `is below ${markText(scale.minimum)}`;
  const beside = (((tenths - scale.minimum) % scale.step) + scale.step) % scale.step;
  if (beside !== 0) wrong = `is not a step of ${markText(scale.step)}`;
  else if (tenths > scale.maximum) wrong = `is above ${markText(scale.maximum)}`;
  return `Mark ${markText(tenths)} ${wrong}. ${instruction(scale)}`;
}

// Returns {tenths} or {fault: sentence}.
export function parseTypedMark(text, scale) {
  const typed = text.trim();
  if (!typed) return { fault: `No mark is entered. ${instruction(scale)}` };
  const match = TYPED.exec(typed);
  if (!match) {
    const shown = typed.length <= 20 ? typed : `${typed.slice(0, 17)}...`;
    return { fault: `"${shown}" is not a mark. ${instruction(scale)}` };
  }
  const [, whole, tenth] = match;
  if (tenth !== undefined) {
    const tenths = Number(whole) * 10 + Number(tenth);
    return holds(scale, tenths) ? { tenths } : { fault: fault(scale, tenths) };
  }
  const readings = whole.length > 1 ? [Number(whole)] : [];
  if (whole.length === 1 || !whole.startsWith("0")) readings.unshift(Number(whole) * 10);
  const tenths = readings.find((reading) => holds(scale, reading));
  return tenths === undefined ? { fault: `"${typed}" is not a mark. ${instruction(scale)}` } : { tenths };
}

// Whether more keys could still make a mark of what stands there, so that nobody is interrupted half way.
export function mayBecomeMark(text, scale) {
  const keys = "0123456789.".split("");
  let open = [text.trim()];
  for (let more = 0; more <= 2; more += 1) {
    if (open.some((candidate) => parseTypedMark(candidate, scale).tenths !== undefined)) return true;
    open = open.flatMap((candidate) => keys.map((key) => candidate + key));
  }
  return false;
}
