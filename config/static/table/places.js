// One line of the sheet with what was said about it: what stands there, the sentences, and what one may do with each.

import { button, el } from "./elements.js";

export const spoken = (text) => `“${text.length > 40 ? `${text.slice(0, 39)}…` : text}”`;

export function clockOf(seconds) {
  const whole = Math.floor(Number(seconds));
  const minutes = Math.floor(whole / 60);
  return `${minutes}:${String(whole % 60).padStart(2, "0")}`;
}

export function placeSection(page, { place, line }) {
  const sentences = page.proposal.on(place);
  const standing = page.standing(place);
  const name = line ? `${line.at ? `${line.at} · ` : ""}${line.text || line.label}` : "The ride as a whole";
  const heading = el("h2", { className: "c-place-name" }, line ? el("span", { className: "figure c-place-id" }, line.id) : null, el("span", {}, name));
  const filled = sentences.length > 0;
  return el("section", { className: `c-place${filled ? "" : " is-empty"}`, "aria-label": line ? `${line.label}` : "The ride as a whole" },
    heading,
    standing ? el("p", { className: "c-standing" }, el("span", { className: "muted small" }, "On the sheet now: "), standing) : null,
    filled ? el("ol", { className: "c-sentences" }, sentences.map((sentence) => sentenceRow(page, sentence))) : null,
    filled && standing ? choices(page, place, standing) : null);
}

function choices(page, place, standing) {
  const name = `choice-${place ?? "overall"}`;
  const will = el("p", { className: "c-will" });
  const show = () => will.replaceChildren(el("span", { className: "muted small" }, "Will stand there: "), page.proposal.result(place, standing));
  const radio = (value, words) => {
    const id = `${name}-${value}`;
    return el("span", { className: "c-choice" }, el("input", { type: "radio", id, name, value, checked: page.proposal.choice(place) === value, on: { change: () => { page.proposal.choose(place, value); page.keep(); show(); } } }), el("label", { htmlFor: id }, words));
  };
  show();
  return el("fieldset", { className: "c-choices" }, el("legend", {}, "There is a remark already"), radio("append", "Keep it and add this"), radio("replace", "Put this in its place"), will);
}

function sentenceRow(page, sentence) {
  const chosen = sentence.id === page.chosen;
  const { words, doubtful } = page.confidence(sentence);
  const time = sentence.start === null || sentence.start === undefined ? "" : clockOf(sentence.start);
  const row = el("button", { type: "button", className: "c-words", "aria-current": chosen ? "true" : null, data: { sentence: String(sentence.id) }, on: { click: () => chosen || page.choose(sentence.id) } },
    el("span", { className: "c-time figure" }, time), el("span", {}, sentence.text), el("span", { className: "c-sure" }, words));
  return el("li", { className: `c-sentence${doubtful ? " is-doubtful" : ""}${chosen ? " is-chosen" : ""}` }, row, chosen ? acting(page, sentence) : null);
}

function acting(page, sentence) {
  if (page.doing === "edit") return editing(page, sentence);
  if (page.doing === "split") return splitting(page, sentence);
  const { places } = page.proposal;
  const at = places.indexOf(sentence.item);
  const small = (words, act, disabled = false) => button(words, act, { className: "button quiet small", disabled });
  const select = el("select", { "aria-label": "Lay this sentence on", on: { change: () => page.layOn(places[Number(select.value)]) } },
    places.map((place, index) => el("option", { value: String(index), selected: index === at }, place === null ? "The ride as a whole" : longName(page, place))));
  return el("div", { className: "c-acts" },
    small("← Movement before", () => page.move(-1), at === 0), small("Movement after →", () => page.move(1), at === places.length - 1),
    small("Ride as a whole", () => page.layOn(null), at === 0), small("Right as it is", () => page.settle(), sentence.settled),
    small("Split", () => page.startSplit(), !sentence.text.includes(" ")), small("Edit", () => page.choose(sentence.id, "edit")), small("Leave out", () => page.drop()), select);
}

function longName(page, place) {
  const line = page.seat.lines.find((found) => found.id === place);
  return `${line.id} ${line.at} ${line.text || line.label}`.replace(/\s+/g, " ").slice(0, 70);
}

function editing(page, sentence) {
  const area = el("textarea", { className: "t-remark c-doing", rows: 2, maxLength: 1000, value: sentence.text, "aria-label": "Words of the sentence", on: { keydown: (event) => { if (event.key === "Enter") { event.preventDefault(); page.edit(area.value); } } } });
  return el("div", { className: "c-acts is-wide" }, area, button("Done", () => page.edit(area.value), { className: "button small" }), button("Leave as it was", () => page.choose(sentence.id), { className: "button quiet small" }));
}

function splitting(page, sentence) {
  const words = sentence.text.split(" ");
  const cuts = words.slice(1).map((word, index) => button(word, () => page.split(index + 1), { className: `button quiet small${index === 0 ? " c-doing" : ""}`, "aria-label": `Second part begins with ${word}, word ${index + 2}` }));
  return el("div", { className: "c-acts is-wide" }, el("p", {}, "With which word does the second sentence begin?"), el("div", { className: "c-cuts", role: "group", "aria-label": "Words" }, el("span", { className: "c-first" }, words[0]), cuts), button("Leave as it was", () => page.choose(sentence.id), { className: "button quiet small" }));
}
