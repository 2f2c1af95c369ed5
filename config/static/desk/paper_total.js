// The total typed from the paper against ours: whether they agree, and where a difference may come from.

import { costOfErrors, decimal, equal, exactText, minus } from "./tally.js";
import { holds, markAsWritten } from "./typed_mark.js";

const PLAIN = /^\d{1,6}(\.\d{1,6})?$/;
const one = (value) => equal(absolute(value), { n: 1n, d: 1n });
const absolute = (value) => ({ n: value.n < 0n ? -value.n : value.n, d: value.d });

// figures: what tally() returned for the full sheet. Returns {state, sentence, hints}.
export function comparePaper(typedText, data, marks, errors, figures) {
  const typed = typedText.trim().replace(",", ".");
  if (!typed) return { state: "none", sentence: "", hints: [] };
  if (!PLAIN.test(typed)) {
    return { state: "unreadable", sentence: `"${typed}" is not a total. Enter the points of the paper, such as 186.5.`, hints: [] };
  }
  if (figures.gaps.length) {
    const count = figures.gaps.length;
    return { state: "waiting", sentence: `Compared as soon as the ${count === 1 ? "gap is" : `${count} gaps are`} filled.`, hints: [] };
  }
  const paper = decimal(typed);
  if (equal(paper, figures.points) || (figures.percentage && equal(paper, decimal(figures.percentage)))) {
    return { state: "agrees", sentence: "The paper and our marks agree.", hints: [] };
  }
  const difference = minus(paper, figures.points);
  const more = difference.n > 0n ? "more" : "less";
  return {
    state: "differs",
    sentence: `The paper says ${typed}, our marks add up to ${exactText(figures.points)}: the paper has ${exactText(absolute(difference))} ${one(difference) ? "point" : "points"} ${more}.`,
    hints: hintsFor(paper, difference, data, marks, errors, figures),
  };
}

function hintsFor(paper, difference, data, marks, errors, figures) {
  const hints = [];
  if (!equal(figures.raw, figures.points) && equal(paper, figures.raw)) {
    hints.push("It is exactly what comes off for errors of course and deductions: the paper may leave that out.");
  }
  const next = minus(costOfErrors(data.rules.errorSteps, errors + 1), costOfErrors(data.rules.errorSteps, errors));
  if (data.rules.errorsOff === "sheet-points" && difference.n < 0n && equal(absolute(difference), next)) {
    hints.push(`It is what ${errors ? "one more" : "an"} error of course takes off: look whether the paper notes one.`);
  }
  const single = oneMark(difference, data, marks);
  if (single.length) hints.push(`One mark keyed differently would explain it: ${single.slice(0, 3).join(", ")}${single.length > 3 ? " and others" : ""}.`);
  hints.push(...doubled(difference, data, marks));
  if (!hints.length) hints.push("No single mark explains it: go through the sheet once more, coefficients first.");
  return hints.slice(0, 3);
}

// Marks that would have to be read as another likely one: the typical slips are a half mark and a whole mark.
function oneMark(difference, data, marks) {
  const found = [];
  for (const item of data.items) {
    // difference / (weight / unit), in tenths; only a whole number of tenths can be a slip of one mark
    const numerator = difference.n * BigInt(data.unit);
    const denominator = difference.d * BigInt(item.weight);
    if (numerator % denominator) continue;
    const slip = Number(numerator / denominator);
    const now = marks.get(item.id);
    if ((Math.abs(slip) === 5 || Math.abs(slip) === 10) && holds(item.scale, now + slip)) {
      found.push({ text: `${item.label} (${markAsWritten(now)} here, ${markAsWritten(now + slip)} on the paper)`, heavy: item.coefficient !== "1" });
    }
  }
  return found.sort((a, b) => Number(b.heavy) - Number(a.heavy)).map((slip) => slip.text);
}

// An item with a coefficient counted once, or one without it counted twice, on the paper.
function doubled(difference, data, marks) {
  const hints = [];
  for (const item of data.items.filter((each) => each.coefficient !== "1")) {
    const once = { n: BigInt(marks.get(item.id)), d: 10n };
    const extra = minus({ n: BigInt(marks.get(item.id) * item.weight), d: BigInt(data.unit) }, once);
    if (difference.n < 0n && extra.n > 0n && equal(absolute(difference), extra)) {
      hints.push(`The paper may have counted ${item.label} (coefficient ${item.coefficient}) only once.`);
    }
  }
  return hints;
}
