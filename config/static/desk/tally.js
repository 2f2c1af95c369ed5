// Adding a sheet up while it is keyed, as scoring.sheet_summary does: whole numbers and ratios of BigInt, never a float.
// What the server says after saving is what counts; a test compares both.

const ratio = (numerator, denominator = 1n) => ({ n: numerator, d: denominator });
const add = (a, b) => ratio(a.n * b.d + b.n * a.d, a.d * b.d);
const subtractToNought = (a, b) => {
  const left = ratio(a.n * b.d - b.n * a.d, a.d * b.d);
  return left.n < 0n ? ratio(0n) : left;
};
const times = (a, b) => ratio(a.n * b.n, a.d * b.d);
const over = (a, b) => ratio(a.n * b.d, a.d * b.n);

export function decimal(text) {
  const [whole, part = ""] = String(text).replace("-", "").split(".");
  const value = ratio(BigInt((whole || "0") + part), 10n ** BigInt(part.length));
  return String(text).startsWith("-") ? ratio(-value.n, value.d) : value;
}

export const equal = (a, b) => a.n * b.d === b.n * a.d;
export const minus = (a, b) => ratio(a.n * b.d - b.n * a.d, a.d * b.d);

function gcd(a, b) {
  let [x, y] = [a < 0n ? -a : a, b];
  while (y) [x, y] = [y, x % y];
  return x || 1n;
}

// Exact decimals only: every value here is a sum of such.
export function exactText(value) {
  const shared = gcd(value.n, value.d);
  let [n, d] = [value.n / shared, value.d / shared];
  const sign = n < 0n ? "-" : "";
  if (n < 0n) n = -n;
  let places = 0;
  while (d !== 1n && places < 20) {
    const step = gcd(10n, d);
    n *= 10n / step;
    d /= step;
    places += 1;
  }
  const digits = n.toString().padStart(places + 1, "0");
  if (!places) return sign + digits;
  return `${sign}${digits.slice(0, -places)}.${digits.slice(-places)}`;
}

export function roundTo(value, decimals, rounding) {
  const numerator = value.n * 10n ** BigInt(decimals);
  const sign = numerator < 0n ? -1n : 1n;
  let whole = (numerator * sign) / value.d;
  const twice = 2n * ((numerator * sign) % value.d);
  if (rounding !== "down" && (twice > value.d || (twice === value.d && (rounding === "half-up" || whole % 2n === 1n)))) whole += 1n;
  return ratio(sign * whole, 10n ** BigInt(decimals));
}

function fixedText(value, decimals) {
  const units = (value.n * 10n ** BigInt(decimals)) / value.d;
  const digits = units.toString().padStart(decimals + 1, "0");
  return decimals ? `${digits.slice(0, -decimals)}.${digits.slice(-decimals)}` : digits;
}

// What so many errors of course take off, in the unit of the steps; beyond the last step it costs again.
export function costOfErrors(steps, errors) {
  let cost = ratio(0n);
  for (let error = 0; error < errors && steps.length; error += 1) cost = add(cost, decimal(steps[Math.min(error, steps.length - 1)]));
  return cost;
}

function pointsOff(data, errors, part) {
  let off = ratio(0n);
  if (data.rules.errorsOff === "sheet-points" && (part === "" || part === "technical")) off = costOfErrors(data.rules.errorSteps, errors);
  for (const deduction of data.deductions) {
    if (deduction.off === "sheet-points" && (part === "" || deduction.part === part)) off = add(off, decimal(deduction.amount));
  }
  return off;
}

function partFigures(data, marks, errors, part) {
  let [points, maximum] = [0n, 0n];
  for (const item of data.items) {
    const tenths = marks.get(item.id);
    if (tenths === undefined || (part !== "" && item.part !== part)) continue;
    points += BigInt(tenths * item.weight);
    maximum += BigInt(item.scale.maximum * item.weight);
  }
  if (!maximum) return null;
  const unit = BigInt(data.unit);
  const raw = ratio(points, unit);
  const left = subtractToNought(raw, pointsOff(data, errors, part));
  const whole = ratio(maximum, unit);
  let percentage = times(over(left, whole), ratio(100n));
  const { decimals, rounding } = data.rules;
  if (decimals !== null) percentage = roundTo(percentage, decimals, rounding);
  for (const deduction of data.deductions) {
    if (part !== "" && deduction.off === "part-percentage" && deduction.part === part) percentage = subtractToNought(percentage, decimal(deduction.amount));
  }
  return { part, raw, points: left, maximum: whole, percentage };
}

// marks: Map of item id to tenths. Returns ratios for points, raw points (before what comes off) and maximum, the
// percentage as text (null before the first mark), and the ids of the gaps.
export function tally(data, marks, errors) {
  const gaps = data.items.filter((item) => !marks.has(item.id)).map((item) => item.id);
  const marked = new Set(data.items.map((item) => item.part));
  let names = Object.keys(data.rules.parts).filter((part) => marked.has(part));
  if (!names.length) names = [""];
  const found = names.map((part) => partFigures(data, marks, errors, part)).filter((figures) => figures);
  if (!found.length) return { raw: ratio(0n), points: ratio(0n), maximum: ratio(0n), percentage: null, gaps };
  const sum = (key) => found.map((figures) => figures[key]).reduce(add);
  let percentage = found[0].percentage;
  const { decimals, rounding, totalDecimals } = data.rules;
  if (found.length > 1) {
    const weights = found.map((figures) => decimal(data.rules.parts[figures.part]));
    percentage = over(found.map((figures, index) => times(figures.percentage, weights[index])).reduce(add), weights.reduce(add));
    if (decimals !== null) percentage = roundTo(percentage, decimals, rounding);
  }
  const places = decimals === null ? totalDecimals : decimals;
  return {
    raw: sum("raw"),
    points: sum("points"),
    maximum: sum("maximum"),
    percentage: fixedText(roundTo(percentage, places, rounding), places),
    gaps,
  };
}
