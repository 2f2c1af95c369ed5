// A commentary being looked through: its sentences in the order in which they were said, each on a movement (null: the
// ride as a whole), and what becomes of them. No page and no network in here.

export const WHOLE_RIDE = null;
const SURE = 90; // in hundredths
const LIKELY = 70;
const MOST_STEPS_BACK = 100;
const HANGING = /[,;]$/; // where the rest of a sentence stands elsewhere
const ENDED = /[.!?…,;:–—-]["')”’]*$/;

// The confidence in words; what a person has placed is no longer the machine's guess.
export function confidenceOf(sentence) {
  if (sentence.settled) return "placed by you";
  const hundredths = Math.round(Number(sentence.confidence) * 100);
  if (hundredths >= SURE) return "sure";
  return hundredths >= LIKELY ? "likely" : "uncertain";
}

export const isUncertain = (sentence) => confidenceOf(sentence) === "uncertain";

// Puts sentences together; one that lacks any stop at its end is not run into the next.
export function joined(texts) {
  return texts.map((text) => text.trim()).filter(Boolean).reduce((said, text) => (said ? `${said}${ENDED.test(said) ? " " : "; "}${text}` : text), "");
}

export class Proposal {
  // places: ids of the movements in the order of the sheet. kept: what snapshot() gave.
  constructor(places, kept) {
    this.places = [WHOLE_RIDE, ...places];
    this.sentences = kept.sentences.map((sentence, index) => ({ id: index, settled: false, ...sentence }));
    this.choices = { ...kept.choices };
    this.past = [];
    for (const sentence of this.sentences) if (!this.places.includes(sentence.item)) sentence.item = WHOLE_RIDE;
  }

  snapshot() {
    return { sentences: this.sentences, choices: this.choices };
  }

  on(place) {
    return this.sentences.filter((sentence) => sentence.item === place);
  }

  // In the order in which they are shown: by place, then as said.
  shown() {
    return this.places.flatMap((place) => this.on(place));
  }

  get(id) {
    return this.sentences.find((sentence) => sentence.id === id);
  }

  uncertain() {
    return this.shown().filter(isUncertain);
  }

  // The next uncertain sentence after this one, round about; null where none is left.
  nextUncertain(id) {
    const shown = this.shown();
    const from = shown.findIndex((sentence) => sentence.id === id);
    return [...shown.slice(from + 1), ...shown.slice(0, from + 1)].find(isUncertain) ?? null;
  }

  // Changing. Every step can be taken back.

  remember() {
    this.past.push(JSON.stringify(this.sentences));
    if (this.past.length > MOST_STEPS_BACK) this.past.shift();
  }

  takeBack() {
    if (!this.past.length) return false;
    this.sentences = JSON.parse(this.past.pop());
    return true;
  }

  change(id, values) {
    this.remember();
    Object.assign(this.get(id), values, { settled: true });
  }

  // Moves a sentence to the place before or after its own; false at either end.
  move(id, steps) {
    const sentence = this.get(id);
    const at = this.places.indexOf(sentence.item) + steps;
    if (at < 0 || at >= this.places.length) return false;
    this.change(id, { item: this.places[at] });
    return true;
  }

  edit(id, text) {
    const words = text.split(/\s+/).filter(Boolean).join(" ");
    if (!words) this.drop(id);
    else if (words !== this.get(id).text) this.change(id, { text: words });
  }

  // Cuts a sentence before a word, from 1; the times are shared by the letters, in whole thousandths.
  split(id, word) {
    const sentence = this.get(id);
    const words = sentence.text.split(" ");
    if (word < 1 || word >= words.length) return null;
    const first = words.slice(0, word).join(" ");
    const second = words.slice(word).join(" ");
    const moment = between(sentence, first.length, sentence.text.length);
    this.remember();
    const made = { ...sentence, id: Math.max(...this.sentences.map((known) => known.id)) + 1, text: second, start: moment, settled: true };
    Object.assign(sentence, { text: first, end: moment, settled: true });
    this.sentences.splice(this.sentences.indexOf(sentence) + 1, 0, made);
    return made;
  }

  drop(id) {
    this.remember();
    this.sentences = this.sentences.filter((sentence) => sentence.id !== id);
  }

  // Becoming remarks

  said(place) {
    return joined(this.on(place).map((sentence) => sentence.text)).replace(HANGING, "");
  }

  // What will stand there: "append" keeps what stands and puts the new words after it, "replace" does not.
  result(place, standing) {
    const said = this.said(place);
    if (!said || !standing) return said || standing;
    return this.choice(place) === "replace" ? said : joined([standing, said]);
  }

  choice(place) {
    return this.choices[place ?? "overall"] ?? "append";
  }

  choose(place, choice) {
    this.choices[place ?? "overall"] = choice;
  }

  get timed() {
    return this.sentences.some((sentence) => isKnown(sentence.start));
  }

  // When the first words on a place were said, in milliseconds; null where that is not known. Of the ride as a whole it
  // is what was said after the last movement, where there is that: a judge greets first and sums up at the end.
  moment(place) {
    const starts = this.on(place).map((sentence) => sentence.start).filter(isKnown).map(thousandths);
    if (place !== WHOLE_RIDE) return starts[0] ?? null;
    const ridden = this.sentences.filter((sentence) => sentence.item !== WHOLE_RIDE && isKnown(sentence.start)).map((sentence) => thousandths(sentence.start));
    return starts.find((start) => start > Math.max(0, ...ridden)) ?? starts[0] ?? null;
  }

  // The moment that its remark gets: of a remark that is kept the one it has.
  momentFor(place, { standing, moment, begins }) {
    if (standing && moment !== null && this.choice(place) === "append") return moment;
    const said = this.moment(place);
    return said === null ? moment : said + begins;
  }
}

const isKnown = (start) => start !== null && start !== undefined;
const thousandths = (seconds) => Math.round(Number(seconds) * 1000);

function between({ start, end }, before, all) {
  if (start === null || end === null) return start;
  const moment = thousandths(start) + Math.round(((thousandths(end) - thousandths(start)) * before) / all);
  return String(moment / 1000);
}
