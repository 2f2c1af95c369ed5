// The day's list: what is to finish first, then the classes with their rides in order.

import { counted, el } from "./elements.js";

const NOT_RIDING = new Set(["withdrawn", "no-show"]);
const CUT_SHORT = new Set(["eliminated", "retired"]);

// Says where a sheet stands: its words, and whether it is begun and not finished.
export function standing(view, lines) {
  const marked = lines.filter((line) => line.id in view.marks).length;
  const gaps = lines.length - marked;
  const begun = marked > 0 || Object.keys(view.remarks).length > 0;
  if (view.held.length) return { words: "Differs from what someone else wrote", begun: true, done: false, kind: "alert" };
  if (view.refused.length) return { words: "Not taken by the server", begun: true, done: false, kind: "alert" };
  if (view.signed) return { words: gaps ? `Signed with ${counted(gaps, "gap", "gaps")}` : "Signed", begun, done: true, kind: "done" };
  if (view.given) return { words: "Result from the office", begun: false, done: true, kind: "done" };
  if (NOT_RIDING.has(view.status) && !begun) return { words: view.statusText, begun: false, done: true, kind: "" };
  if (!begun) return { words: CUT_SHORT.has(view.status) ? view.statusText : "Not begun", begun: false, done: false, kind: "" };
  if (gaps) return { words: `${marked} of ${lines.length} marks`, begun: true, done: false, kind: "live" };
  return { words: "Full, not signed", begun: true, done: false, kind: "live" };
}

function row({ book, day, cls, seat, entry, addresses, named = "" }) {
  const view = book.view(entry.id, seat.id);
  const state = standing(view, seat.lines);
  const waiting = view.waiting.size;
  return el("li", { className: `t-ride${entry.id === cls.inRing ? " is-in-ring" : ""}` },
    el("a", { href: addresses.sheet(day, cls, seat, entry) },
      el("span", { className: "t-ride-time figure" }, entry.time),
      el("span", { className: "t-ride-number figure" }, entry.number),
      el("span", { className: "t-ride-who" }, entry.rider, el("span", { className: "under" }, `${entry.horse}${named}${cls.fromRecordings && !entry.recording ? " · no recording yet" : ""}`)),
      el("span", { className: "t-ride-state" },
        el("span", { className: `status${state.kind ? ` is-${state.kind}` : ""}` }, state.words),
        entry.id === cls.inRing ? el("span", { className: "under" }, "in the ring") : null,
        waiting ? el("span", { className: "under" }, `${counted(waiting, "change", "changes")} kept here`) : null)));
}

export function dayList({ book, day, addresses, heading = "h1" }) {
  const places = day.classes.flatMap((cls) => cls.seats.flatMap((seat) => cls.entries.map((entry) => ({ book, day, cls, seat, entry, addresses }))));
  const unfinished = places.filter(({ entry, seat }) => {
    const state = standing(book.view(entry.id, seat.id), seat.lines);
    return state.begun && !state.done;
  });
  const date = new Date(`${day.date}T12:00:00Z`).toLocaleDateString("en-GB", { weekday: "long", day: "numeric", month: "long", timeZone: "UTC" });
  const parts = [el("header", { className: "t-head" }, el(heading, { tabIndex: -1 }, day.title), el("p", { className: "t-lead" }, date))];
  if (unfinished.length) {
    parts.push(el("section", { className: "section", "aria-label": "Sheets to finish" },
      el("h2", {}, counted(unfinished.length, "sheet to finish", "sheets to finish")),
      el("ol", { className: "t-rides" }, unfinished.map((found) => row({ ...found, named: ` · class ${found.cls.number}, seat ${found.seat.seat}` })))));
  }
  for (const cls of day.classes) {
    for (const seat of cls.seats) {
      const done = cls.entries.filter((entry) => standing(book.view(entry.id, seat.id), seat.lines).done).length;
      parts.push(el("section", { className: "section", "aria-label": `Class ${cls.number}, seat ${seat.seat}` },
        el("h2", {}, `Class ${cls.number}: ${cls.title} `, el("span", { className: "small" }, `seat ${seat.seat}${seat.judge ? `, ${seat.judge}` : ""}`)),
        el("p", { className: "muted small" }, `${cls.test}${cls.arena ? ` · ${cls.arena}` : ""} · ${done} of ${cls.entries.length} done`, cls.open ? "" : " · official"),
        seat.compares ? el("p", {}, el("a", { href: addresses.panel(day, cls, seat) }, "My marks and the panel's")) : null,
        cls.entries.length ? el("ol", { className: "t-rides" }, cls.entries.map((entry) => row({ book, day, cls, seat, entry, addresses }))) : el("p", { className: "empty" }, "Nobody is entered yet.")));
    }
  }
  return el("div", {}, parts);
}
