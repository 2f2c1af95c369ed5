// Keying a sheet from the number pad, eyes on paper. One column of marks in sheet order; nothing here needs a mouse.

import { dropDraft, keepDraft, readDraft } from "./draft.js";
import { comparePaper } from "./paper_total.js";
import { exactText, tally } from "./tally.js";
import { markAsWritten, mayBecomeMark, parseTypedMark } from "./typed_mark.js";
import { Saver } from "./saving.js";
import { watchOthers } from "./others.js";

const data = JSON.parse(document.getElementById("sheet-data").textContent);
const form = document.getElementById("sheet-form");
const byId = (id) => document.getElementById(id);
const items = new Map(data.items.map((item) => [item.id, item]));
const lines = [...form.querySelectorAll(".sheet-line")];
const order = lines.map((line) => line.dataset.item);
const markField = (id) => byId(`mark-${id}`);
const remarkField = (id) => byId(`remark-${id}`);
let lastMark = order[0];
let saved = snapshot();
let sent = saved;
form.noValidate = true; // without this script the browser itself asks for the choices between two keyers

// Fields

function snapshot() {
  const values = {};
  for (const field of form.elements) {
    if (!field.name || ["csrfmiddlewaretoken", "version", "errors_base", "then", "way", "choose", "opened", "opened_errors"].includes(field.name)) continue;
    if (field.name.startsWith("keep-")) continue;
    if (field.type === "checkbox") values[field.name] = field.checked ? "1" : "";
    else values[field.name] = field.value;
  }
  return values;
}

function setField(name, value) {
  const field = form.elements.namedItem(name);
  if (!field) return;
  if (field.type === "checkbox") {
    field.checked = Boolean(value);
    const label = field.closest(".line-substitute");
    if (label) label.hidden = !value;
  } else field.value = value;
}

function isDirty() {
  const now = snapshot();
  return Object.keys(now).some((name) => now[name] !== saved[name]);
}

// Figures

function readMarks() {
  const marks = new Map();
  for (const [id, item] of items) {
    const { tenths } = parseTypedMark(markField(id).value, item.scale);
    if (tenths !== undefined) marks.set(id, tenths);
  }
  return marks;
}

function errorsOfCourse() {
  const text = byId("errors").value.trim() || "0";
  return /^\d{1,2}$/.test(text) && Number(text) <= 20 ? Number(text) : null;
}

// What a second keyer reads of deductions counts in the figures beside it; the first keying's are not known here.
function readDeducted() {
  const text = byId("deducted").value.trim().replace(",", ".");
  data.deductions = /^\d{1,4}(\.\d{1,3})?$/.test(text) ? [{ off: "sheet-points", amount: text, part: "technical" }] : [];
}

function showFigures() {
  if (data.again) readDeducted();
  const marks = readMarks();
  const errors = errorsOfCourse();
  const figures = tally(data, marks, errors ?? 0);
  byId("tally-percentage").textContent = figures.percentage === null ? "–" : `${figures.percentage} %`;
  byId("tally-points").textContent = figures.percentage === null ? "" : `${exactText(figures.points)} of ${exactText(figures.maximum)} points`;
  const gaps = figures.gaps.length;
  byId("tally-gaps").textContent = gaps ? `${gaps} ${gaps === 1 ? "gap" : "gaps"}, so the figures are those so far` : "All boxes are filled";
  byId("go-gap").hidden = !gaps;
  byId("errors-said").textContent = errors === null ? "Enter a whole number from 0 to 20." : data.consequences[errors];
  byId("errors").setAttribute("aria-invalid", String(errors === null));
  const paper = comparePaper(byId("total").value, data, marks, errors ?? 0, figures);
  const said = byId("total-said");
  said.dataset.state = paper.state;
  said.replaceChildren(...[paper.sentence, ...paper.hints].filter(Boolean).map((sentence) => {
    const line = document.createElement("span");
    line.textContent = sentence;
    return line;
  }));
  form.dataset.dirty = String(isDirty());
}

function showFault(id, sentence) {
  byId(`fault-${id}`).textContent = sentence;
  if (sentence) markField(id).setAttribute("aria-invalid", "true");
  else markField(id).removeAttribute("aria-invalid");
}

// Returns whether the field may be left: it is empty, or it is a mark, which is then written with its decimal.
function settle(id) {
  const field = markField(id);
  if (!field.value.trim()) {
    field.value = "";
    showFault(id, "");
    return true;
  }
  const { tenths, fault } = parseTypedMark(field.value, items.get(id).scale);
  if (fault) {
    showFault(id, fault);
    return false;
  }
  field.value = markAsWritten(tenths);
  showFault(id, "");
  return true;
}

// Moving about

function goTo(field) {
  field.focus();
  if (field.select) field.select();
  const line = field.closest(".sheet-line");
  (line || field).scrollIntoView({ block: "nearest" });
}

// A second keying has no fields for what is not compared.
function goToIfThere(field) {
  if (field) goTo(field);
}

function goToMark(id) {
  lastMark = id;
  goTo(markField(id));
}

function step(id, by) {
  if (!settle(id)) return markField(id).select();
  const place = order.indexOf(id) + by;
  if (place < 0) return markField(id).select();
  if (place >= order.length) return goTo(byId("total"));
  return goToMark(order[place]);
}

function firstGap() {
  const gap = order.find((id) => !markField(id).value.trim());
  if (gap) goToMark(gap);
  else goTo(byId("total"));
}

const jumps = new Map([
  ["*", (id) => goToIfThere(remarkField(id))],
  ["r", (id) => goToIfThere(remarkField(id))],
  ["d", () => goToIfThere(byId("deducted"))],
  ["/", () => goTo(byId("errors"))],
  ["e", () => goTo(byId("errors"))],
  ["g", firstGap],
  ["t", () => goTo(byId("total"))],
  ["o", () => goToIfThere(byId("overall"))],
  ["?", () => { byId("keys").open = !byId("keys").open; }],
]);

function onMarkKey(event, id) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (["Enter", "+", "ArrowDown"].includes(event.key)) step(id, 1);
  else if (["-", "ArrowUp"].includes(event.key)) step(id, -1);
  else if (jumps.has(event.key.toLowerCase())) {
    lastMark = id;
    jumps.get(event.key.toLowerCase())(id);
  } else return;
  event.preventDefault();
}

for (const id of order) {
  const field = markField(id);
  field.addEventListener("keydown", (event) => onMarkKey(event, id));
  field.addEventListener("focus", () => { lastMark = id; });
  field.addEventListener("blur", () => settle(id));
  field.addEventListener("input", () => {
    const scale = items.get(id).scale;
    const typed = field.value.trim();
    showFault(id, typed && !mayBecomeMark(typed, scale) ? parseTypedMark(typed, scale).fault : "");
  });
  remarkField(id)?.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && !event.ctrlKey) {
      event.preventDefault();
      step(id, 1);
    } else if (event.key === "Escape") {
      event.preventDefault();
      goToMark(id);
    }
  });
}

const back = () => goToMark(lastMark);
byId("errors").addEventListener("keydown", (event) => {
  if (event.key === "Enter" || event.key === "Escape") {
    event.preventDefault();
    back();
  } else if (event.key === "/" || event.key === "+" || event.key === "-") {
    event.preventDefault();
    const now = errorsOfCourse() ?? 0;
    byId("errors").value = String(Math.min(20, Math.max(0, now + (event.key === "-" ? -1 : 1))));
    showFigures();
  }
});
for (const name of ["deducted", "deducted-percent"]) {
  byId(name)?.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== "Escape") return;
    event.preventDefault();
    if (event.key === "Enter" && name === "deducted") goTo(byId("deducted-percent"));
    else back();
  });
}
byId("total").addEventListener("keydown", (event) => {
  if (event.key === "Enter" && !event.ctrlKey) {
    event.preventDefault();
    byId("signed").focus();
  } else if (event.key === "ArrowUp" || event.key === "-") {
    event.preventDefault();
    goToMark(order[order.length - 1]);
  }
});
byId("signed").addEventListener("keydown", (event) => {
  if (event.key === "1" || event.key === "0") {
    byId("signed").checked = event.key === "1";
    showFigures();
  } else if (event.key === "Enter" && !event.ctrlKey) byId("save-next").focus();
  else if (event.key === "ArrowUp" || event.key === "-") goTo(byId("total"));
  else return;
  event.preventDefault();
});
byId("given").addEventListener("keydown", (event) => {
  if (event.key === "Enter" && !event.ctrlKey) {
    event.preventDefault();
    byId("signed").focus();
  }
});
byId("go-gap").addEventListener("click", firstGap);
byId("save-next").addEventListener("keydown", (event) => {
  if (event.key === "ArrowUp" || event.key === "-") {
    event.preventDefault();
    byId("signed").focus();
  }
});

// The judge is gone: the mean of the other marks, rounded half up to the scale, flagged.

byId("fill-gaps")?.addEventListener("click", () => {
  const marks = [...readMarks().values()];
  const said = byId("save-said");
  if (!marks.length) {
    said.textContent = "There is no mark on this sheet to take a mean of.";
    return;
  }
  const sum = marks.reduce((a, b) => a + b, 0);
  for (const id of order) {
    if (markField(id).value.trim()) continue;
    const { minimum, step: unit } = items.get(id).scale;
    const above = sum - minimum * marks.length;
    const mean = minimum + unit * Math.floor((2 * above + unit * marks.length) / (2 * unit * marks.length));
    markField(id).value = markAsWritten(mean);
    setField(`substitute-${id}`, "1");
    settle(id);
  }
  said.textContent = "The gaps are filled with the mean and flagged as substitutes. Save when that is right.";
  showFigures();
});

// Saving

const saver = new Saver({
  form,
  onSend() {
    sent = snapshot();
  },
  // Fields that were typed in while the answer was on its way keep what was typed. Returns whether there were none.
  onSaved(answer) {
    byId("version").value = answer.version;
    byId("errors-base").value = answer.errors;
    const now = snapshot();
    for (const [name, value] of Object.entries(answer.values)) {
      if (now[name] === sent[name]) setField(name, value);
    }
    saved = { ...snapshot(), ...answer.values };
    if (isDirty()) keepDraft(data.draftKey, byId("version").value, snapshot());
    else dropDraft(data.draftKey);
    showFigures();
    return !isDirty();
  },
  onProblems(problems) {
    const first = problems.find((problem) => problem.field && form.elements.namedItem(problem.field));
    for (const { field, sentence } of problems) {
      if (field.startsWith("mark-")) showFault(field.slice("mark-".length), sentence);
    }
    if (first) goTo(form.elements.namedItem(first.field));
  },
  onClash(answer) {
    byId("version").value = answer.version;
    byId("errors-base").value = answer.errors;
    const mine = snapshot();
    const take = (row) => {
      const choice = row.querySelector("input:checked");
      if (!choice) return;
      const name = row.dataset.field;
      const from = choice.value === "theirs" ? answer.theirs : mine;
      setField(name, from[name] ?? "");
      if (name === "given") setField("given_kind", from.given_kind);
      if (name.startsWith("mark-")) settle(name.slice("mark-".length));
      row.classList.remove("is-open");
      showFigures();
    };
    for (const row of document.querySelectorAll(".clash-row")) {
      row.addEventListener("change", () => take(row));
      take(row);
    }
  },
});

const way = () => (form.querySelector('input[name="way"]:checked') || { value: "ride" }).value;
for (const radio of form.querySelectorAll('input[name="way"]')) {
  radio.addEventListener("change", () => { byId("save-next").value = radio.value; });
}
form.addEventListener("submit", (event) => {
  event.preventDefault();
  const wrong = order.find((id) => !settle(id));
  if (wrong) {
    byId("save-said").textContent = "Not saved: correct the mark that is no mark first.";
    goToMark(wrong);
    return;
  }
  const undecided = document.querySelector(".clash-row.is-open");
  if (undecided) {
    byId("save-said").textContent = "Not saved: choose for every field that differs first.";
    undecided.querySelector("input[type=radio]").focus();
    return;
  }
  saver.save(event.submitter ? event.submitter.value : way());
});
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey)) return;
  if (event.key === "Enter") byId("save-next").click();
  else if (event.key.toLowerCase() === "s") byId("save").click();
  else return;
  event.preventDefault();
});

form.addEventListener("input", () => {
  showFigures();
  if (isDirty()) keepDraft(data.draftKey, byId("version").value, snapshot());
  else dropDraft(data.draftKey);
});
form.addEventListener("change", showFigures);
window.addEventListener("beforeunload", (event) => {
  if (isDirty() && !saver.leaving) event.preventDefault();
});

// A draft that an earlier visit left behind

const draft = readDraft(data.draftKey);
if (draft && Object.keys(draft.values).some((name) => draft.values[name] !== saved[name] && name in saved)) {
  const notice = document.createElement("div");
  notice.className = "notice is-warning";
  const words = document.createElement("p");
  words.textContent = "Marks were typed here and not saved.";
  const putBack = document.createElement("button");
  putBack.type = "button";
  putBack.className = "button small";
  putBack.textContent = "Put them back";
  const forget = document.createElement("button");
  forget.type = "button";
  forget.className = "button quiet small";
  forget.textContent = "Forget them";
  putBack.addEventListener("click", () => {
    for (const [name, value] of Object.entries(draft.values)) setField(name, value);
    byId("version").value = draft.version; // so that what others saved meanwhile is shown beside it
    notice.remove();
    order.forEach(settle);
    showFigures();
    firstGap();
  });
  forget.addEventListener("click", () => {
    dropDraft(data.draftKey);
    notice.remove();
  });
  const actions = document.createElement("div");
  actions.className = "actions";
  actions.append(putBack, forget);
  notice.append(words, actions);
  byId("notices").append(notice);
}

watchOthers({ url: data.stateUrl, version: () => Number(byId("version").value), place: byId("presence") });
showFigures();
if (!window.location.hash && !document.querySelector(".clash, .form-errors")) firstGap();
form.dataset.ready = "yes";
