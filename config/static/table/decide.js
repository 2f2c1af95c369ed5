// What differs from what somebody else wrote meanwhile, side by side, and what the server refused. Nothing is decided
// without the judge.

import { button, el } from "./elements.js";
import { markAsWritten } from "../desk/typed_mark.js";
import { momentText } from "../film/moments.js";

export function said(field, value) {
  const kind = field.split(".", 1)[0];
  if (kind === "mark") return typeof value === "number" ? markAsWritten(value) : value || "no mark";
  if (kind === "signed") return value ? "signed" : "not signed";
  if (kind === "errors") return String(value);
  if (kind.endsWith("time")) return momentText(value) || "no moment";
  if (kind === "limited") return value ? "limited view" : "seen in full";
  return value || "nothing";
}

export function named(field, lines) {
  const [kind, item] = field.split(/\.(.*)/s);
  const label = lines.find((line) => line.id === item)?.label ?? item;
  if (kind === "mark") return `Mark of ${label}`;
  if (kind === "remark") return `Remark on ${label}`;
  if (kind === "time") return `Moment of ${label}`;
  if (kind === "remark_time") return `Moment of the remark on ${label}`;
  if (kind === "limited") return `View of ${label}`;
  return { overall_time: "Moment of the overall remarks", overall: "Overall remarks", signed: "Signature", errors: "Errors of course", told: "Note to the office" }[kind] ?? kind;
}

function clock(at, zone) {
  const moment = at ? new Date(at) : null;
  return moment ? moment.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }) : "";
}

export function differences({ view, lines, zone, book, onDecided }) {
  if (!view.held.length && !view.refused.length) return null;
  const decide = (act) => () => {
    act();
    onDecided();
  };
  const held = view.held.map((change) => {
    const { theirs, by, at, why } = change.held;
    const what = named(change.field, lines);
    return el("li", { className: "t-difference" },
      el("p", { className: "t-difference-what" }, el("strong", {}, what), ` ${why}`),
      el("dl", { className: "t-both" },
        el("div", {}, el("dt", {}, "You wrote here"), el("dd", {}, said(change.field, change.value))),
        el("div", {}, el("dt", {}, `${by || "Someone else"}${at ? `, ${clock(at, zone)}` : ""}`), el("dd", {}, said(change.field, theirs)))),
      el("div", { className: "actions" },
        button("Keep mine", decide(() => book.keepMine(change)), { className: "button", "aria-label": `Keep mine: ${what}` }),
        button("Take theirs", decide(() => book.takeTheirs(change)), { className: "button quiet", "aria-label": `Take theirs: ${what}` })));
  });
  const refused = view.refused.map((change) => {
    const what = named(change.field, lines);
    return el("li", { className: "t-difference" },
      el("p", { className: "t-difference-what" }, el("strong", {}, `${what}: ${said(change.field, change.value)}. `), `Not taken, and still kept here. ${change.refused.why}`),
      el("div", { className: "actions" },
        button("Send again", decide(() => book.sendAgain(change)), { className: "button quiet", "aria-label": `Send again: ${what}` }),
        button("Take it back", decide(() => book.takeTheirs(change)), { className: "button quiet", "aria-label": `Take back: ${what}` })));
  });
  const words = view.held.length
    ? "Somebody else wrote on this sheet while yours was not there. Nothing was overwritten. Say what is right."
    : "The server did not take all of this sheet.";
  return el("section", { className: "t-differences", "aria-label": "What differs" }, el("p", { className: "strong" }, words), el("ul", {}, held, refused));
}
