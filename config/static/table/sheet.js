// Writing one sheet: the current movement large, the pad under the thumb, all movements below or beside it.

import { button, counted, el } from "./elements.js";
import { differences } from "./decide.js";
import { markAsWritten, mayBecomeMark, parseTypedMark } from "../desk/typed_mark.js";
import { Pad } from "./pad.js";
import { Phrases, withPhrase } from "./phrases.js";
import { RecordingPanel } from "./recording.js";
import { tally } from "../desk/tally.js";

const WORD_ENDS = /[\s,.;:!?]$/;
const MOST_ERRORS = 20;
const IDLE = 2500;
const REMARKS_LEARNT = 300;
const BESIDE = window.matchMedia("(min-width: 56rem)"); // where the list stands beside the card, and scrolls by itself

export class SheetPage {
  constructor({ book, place, entry, addresses, onLeave }) {
    Object.assign(this, { book, place, entry, addresses, onLeave, ...place, at: 0, typed: "", news: "", idle: 0 });
    this.lines = this.seat.lines;
    this.phrases = this.learn();
    this.recording = RecordingPanel.beside(this);
    this.pad = new Pad({ onMark: (tenths, how) => this.mark(tenths, how), onDone: () => this.go(this.at + 1) });
    this.build();
    const gap = this.lines.findIndex((line) => !(line.id in this.view.marks));
    this.go(gap < 0 ? this.lines.length : gap, { quiet: true });
  }

  get view() {
    return this.book.view(this.entry.id, this.seat.id);
  }

  get line() {
    return this.lines[this.at];
  }

  get locked() {
    return this.view.signed || !this.cls.open;
  }

  write(field, value, how) {
    this.book.write(this.entry.id, this.seat.id, field, value, how);
    this.recording?.wrote(field, value);
  }

  learn() {
    const phrases = new Phrases(this.day.phrases[this.seat.judge] || []);
    for (const [remark, family] of this.book.settings[this.learntKey] || []) phrases.learn(remark, family);
    return phrases;
  }

  // What is written on this device is offered on its next sheet, before the server has heard of it.
  get learntKey() {
    return `remarks/${this.book.user?.id}/${this.seat.judge}`;
  }

  learnFrom(remark) {
    const family = this.line?.family ?? "";
    this.phrases.learn(remark, family);
    this.book.set(this.learntKey, [...(this.book.settings[this.learntKey] || []), [remark, family]].slice(-REMARKS_LEARNT));
  }

  // The page, made once; what changes is drawn again by draw()

  build() {
    const { entry, cls, seat } = this;
    this.head = el("h1", { className: "t-who", tabIndex: -1 }, el("span", { className: "figure" }, entry.number), ` ${entry.rider}`, el("span", { className: "t-horse" }, entry.horse));
    this.lead = el("p", { className: "t-lead" });
    this.decisions = el("div", {});
    this.where = el("p", { className: "t-where" });
    this.words = el("h2", { className: "t-words" });
    this.directive = el("p", { className: "t-directive" });
    this.figure = el("output", { className: "t-mark figure", "aria-live": "polite" });
    this.fault = el("p", { className: "t-fault", role: "alert" });
    this.remark = el("textarea", { id: "remark", className: "t-remark", rows: 1, maxLength: 1000, autocomplete: "off", on: { input: () => this.typing(), blur: () => this.finish(), keydown: (event) => this.onRemarkKey(event) } });
    this.remarkLabel = el("label", { className: "t-label", htmlFor: "remark" }, "Remark");
    this.offered = el("ul", { className: "t-phrases", "aria-label": "My phrases" });
    this.card = el("section", { className: "t-card", "aria-label": "Current movement" },
      el("div", { className: "t-card-head" }, el("div", {}, this.where, this.words, this.directive), this.figure), this.fault);
    this.writing = el("div", { className: "t-writing" }, this.remarkLabel, this.remark, this.offered);
    this.finishing = el("section", { className: "t-card t-finish", "aria-label": "Finish the sheet" });
    this.back = button("Back", () => this.go(this.at - 1), { className: "button quiet" });
    this.next = button("Next", () => this.go(this.at + 1), { className: "button quiet" });
    this.error = button("Error of course", () => this.errorOfCourse(), { className: "button quiet t-error" });
    this.moves = el("div", { className: "t-moves" }, this.back, this.error, this.next);
    this.said = el("p", { className: "t-said", role: "status" });
    this.takeBack = button("Take it back", () => this.takeErrorBack(), { className: "button quiet small", hidden: true });
    this.percent = el("input", { type: "checkbox", id: "percent", checked: Boolean(this.book.settings.percentage), on: { change: () => this.showPercentage() } });
    this.running = el("p", { className: "t-running figure", "aria-live": "off" });
    this.list = el("ol", { className: "t-list" });
    this.listed = this.lines.map((line, index) => this.listLine(line, index));
    this.list.append(...this.listed.map((found) => found.row));
    const keys = el("details", { className: "keys" }, el("summary", {}, "Keys"), el("dl", { className: "facts" },
      ...[["65 Enter", "6.5 and on; 7 is 7.0, 10 is 10.0"], ["Enter + ↓", "next movement"], ["- ↑", "movement before"], ["R or *", "remark; Enter goes on, Esc back to the mark"], ["↓ in the remark", "my phrases; Alt 1 to 6 takes one"], ["E or /", "error of course"], ["G", "first gap"], ["Backspace", "mark away"], ["F", "finish; S there signs"], ["O", "overall remarks"], ...(this.recording ? RecordingPanel.keys : [])]
        .flatMap(([key, does]) => [el("dt", {}, el("kbd", {}, key)), el("dd", {}, does)])));
    this.element = el("div", { className: `t-sheet${this.recording ? " has-film" : ""}` },
      el("header", { className: "t-head" }, el("a", { className: "t-up", href: this.addresses.day(this.day) }, "All sheets"), " ", el("a", { className: "t-up", href: this.addresses.commentary(this.day, cls, seat, entry) }, "Commentary"), this.head, this.lead),
      this.decisions,
      el("div", { className: "t-columns" },
        this.recording?.element,
        el("div", { className: "t-main" }, this.card, this.finishing, this.writing, this.pad.place, this.moves, el("div", { className: "t-news" }, this.said, this.takeBack)),
        el("div", { className: "t-side" }, this.list, el("label", { className: "t-choice" }, this.percent, "Show the running percentage"), this.running, keys)));
    this.lead.textContent = `Seat ${seat.seat}${seat.judge ? `, ${seat.judge}` : ""} · Class ${cls.number} · ${cls.test}`;
    this.onKey = (event) => this.onPageKey(event);
    document.addEventListener("keydown", this.onKey);
  }

  listLine(line, index) {
    const mark = el("span", { className: "t-list-mark figure" });
    const remark = el("span", { className: "t-list-remark" });
    const state = el("span", { className: "visually-hidden" });
    const go = button("", () => this.go(index), { className: "t-list-go" });
    go.append(el("span", { className: "t-list-id figure" }, line.id), el("span", { className: "t-list-words" }, line.text || line.label, remark), mark, state);
    const moment = this.recording?.listPart(line, index);
    return { row: el("li", {}, go, moment?.go), go, mark, remark, state, moment };
  }

  leave() {
    this.finish();
    this.recording?.leave();
    document.removeEventListener("keydown", this.onKey);
    window.clearTimeout(this.idle);
  }

  // Moving about. What was being written is finished by it.

  go(to, { quiet = false } = {}) {
    this.finish();
    this.at = Math.max(0, Math.min(this.lines.length, to));
    this.typed = "";
    this.fault.textContent = "";
    const field = this.line ? `remark.${this.line.id}` : "overall";
    this.remark.value = this.book.value(this.view, field);
    this.remarkBefore = this.remark.value;
    this.remark.maxLength = this.line ? 1000 : 5000;
    this.remark.rows = this.line ? 1 : 3;
    this.remarkLabel.textContent = this.line ? "Remark" : "Overall remarks";
    this.remark.placeholder = this.remarkLabel.textContent;
    if (!quiet && document.activeElement === this.remark) this.remark.blur();
    this.drawNow();
    this.offer();
    if (!quiet && BESIDE.matches) this.listed[this.at]?.row.scrollIntoView({ block: "nearest" });
    if (!quiet) this.bringUp();
  }

  // What a mark needs stays in sight: on a screen too short for the whole page from the movement down to the moves.
  bringUp() {
    const above = this.element.getBoundingClientRect().top < 0;
    const below = this.moves.getBoundingClientRect().bottom > window.innerHeight;
    if (above || below) (this.line ? this.card : this.finishing).scrollIntoView({ block: "start" });
  }

  firstGap() {
    const gap = this.lines.findIndex((line) => !(line.id in this.view.marks));
    this.go(gap < 0 ? this.lines.length : gap);
  }

  finish() {
    window.clearTimeout(this.idle);
    if (this.remarkField) {
      this.keepRemark({ open: false });
      const remark = this.remark.value.trim();
      if (remark && this.line && !this.locked && remark !== this.remarkBefore) this.learnFrom(remark);
      this.remarkBefore = remark;
      this.remarkField = "";
    }
    this.book.closeAll();
  }

  // What is being written is sent when the hand has rested for a while, also without going on.
  rest() {
    window.clearTimeout(this.idle);
    this.idle = window.setTimeout(() => this.book.closeAll(), IDLE);
  }

  // Marks

  mark(tenths, { open }) {
    if (this.locked || !this.line) return;
    this.write(`mark.${this.line.id}`, tenths, { open });
    if (open) this.rest();
    this.fault.textContent = "";
    this.typed = "";
    this.draw();
  }

  type(key) {
    if (this.locked || !this.line) return this.sayLocked();
    const { scale } = this.line;
    if (!this.typed) this.before = this.view.marks[this.line.id] ?? null;
    this.typed += key === "," ? "." : key;
    const { tenths } = parseTypedMark(this.typed, scale);
    if (tenths !== undefined) {
      this.write(`mark.${this.line.id}`, tenths, { open: true });
      this.rest();
    }
    this.fault.textContent = tenths === undefined && !mayBecomeMark(this.typed, scale) ? parseTypedMark(this.typed, scale).fault : "";
    return this.draw();
  }

  confirm() {
    if (this.typed && this.line) {
      const { tenths, fault } = parseTypedMark(this.typed, this.line.scale);
      if (fault) {
        this.fault.textContent = fault;
        this.typed = "";
        this.write(`mark.${this.line.id}`, this.before);
        return this.draw();
      }
      this.write(`mark.${this.line.id}`, tenths, { open: false });
    }
    return this.go(this.at + 1);
  }

  erase() {
    if (this.locked || !this.line) return this.sayLocked();
    this.typed = this.typed.slice(0, -1);
    const { tenths } = this.typed ? parseTypedMark(this.typed, this.line.scale) : { tenths: null };
    if (tenths !== undefined) this.write(`mark.${this.line.id}`, tenths, { open: Boolean(this.typed) });
    this.fault.textContent = "";
    return this.draw();
  }

  sayLocked() {
    if (this.locked) this.say(this.cls.open ? "The sheet is signed and locked. Open it again to correct it." : "The results of this class are official.");
  }

  // Remarks

  typing() {
    this.remarkField = this.line ? `remark.${this.line.id}` : "overall";
    if (this.locked) {
      this.remark.value = this.book.value(this.view, this.remarkField);
      this.sayLocked();
      return;
    }
    this.recording?.typing(this.remarkField, this.remark.value);
    // Each finished word goes to the disk at once, the one in hand as soon as the hand rests.
    if (WORD_ENDS.test(this.remark.value)) this.keepRemark({ open: true });
    else {
      window.clearTimeout(this.word);
      this.word = window.setTimeout(() => this.keepRemark({ open: true }), 300);
    }
    this.rest();
    this.offer();
  }

  keepRemark({ open }) {
    window.clearTimeout(this.word);
    if (this.remarkField && !this.locked) this.write(this.remarkField, open ? this.remark.value : this.remark.value.trim(), { open });
  }

  offer() {
    const family = this.line?.family ?? "";
    const found = this.locked ? [] : this.phrases.suggest(this.remark.value, family);
    this.offered.replaceChildren(...found.map((phrase) => el("li", {}, button(phrase, () => this.take(phrase), { className: "t-phrase", on: { keydown: (event) => this.onPhraseKey(event), click: () => this.take(phrase), pointerdown: (event) => event.preventDefault() } }))));
  }

  take(phrase) {
    this.remarkField = this.line ? `remark.${this.line.id}` : "overall";
    this.remark.value = withPhrase(this.remark.value, phrase);
    this.keepRemark({ open: true });
    this.rest();
    this.offer();
    this.draw();
    if (this.offered.contains(document.activeElement) || document.activeElement === document.body) this.remark.focus();
  }

  // Errors of course: one touch, and what it costs is said. Who may not count them tells the office.

  errorOfCourse() {
    if (!this.cls.open) return this.sayLocked();
    const where = this.line ? this.line.label : "the end";
    if (!this.seat.countsErrors) {
      this.write("told", `error of course at ${where}`);
      this.lastError = null;
      return this.say(`Told to the office: error of course at ${where}. It is counted by ${this.cls.president} or the office, not from this seat.`);
    }
    const errors = this.view.errors;
    if (errors >= MOST_ERRORS) return this.say(`There are ${MOST_ERRORS} errors of course already.`);
    this.write("errors", errors + 1);
    this.lastError = errors;
    return this.say(this.cls.consequences[errors + 1], true);
  }

  takeErrorBack() {
    if (!this.view.errors) return;
    this.write("errors", this.view.errors - 1);
    this.say(this.cls.consequences[this.view.errors]);
    this.error.focus();
  }

  say(words, canTakeBack = false) {
    this.said.textContent = words;
    this.takeBack.hidden = !canTakeBack;
    this.draw();
  }

  // Signing

  sign() {
    this.finish();
    if (this.view.held.length || this.view.refused.length) return this.say("Decide first what differs, then sign.");
    this.write("signed", true);
    this.book.closeAll();
    return this.say("Signed and locked.");
  }

  // Only where the gaps stand in sight.
  signByKey() {
    if (this.line) this.go(this.lines.length);
    else if (!this.locked) this.sign();
    else this.sayLocked();
  }

  openAgain() {
    this.write("signed", false);
    this.say("Open again. Sign once more when it is right.");
    this.go(this.at);
  }

  // Drawing

  // Once for everything that one touch changes, and before the next frame.
  draw() {
    if (this.asked) return;
    this.asked = true;
    queueMicrotask(() => this.asked && this.drawNow());
  }

  drawNow() {
    this.asked = false;
    const { view, line } = this;
    const tenths = line ? view.marks[line.id] ?? null : null;
    this.card.hidden = !line;
    this.finishing.hidden = Boolean(line);
    this.pad.place.hidden = !line;
    if (line) {
      this.where.textContent = `${this.at + 1} of ${this.lines.length}${line.collective ? ", collective mark" : ""}${line.at ? ` · ${line.at}` : ""}${line.coefficient === "1" ? "" : ` · ×${line.coefficient}`}`;
      this.words.textContent = line.text || line.label;
      this.directive.textContent = line.directive;
      this.figure.textContent = this.typed || (tenths === null ? "–" : markAsWritten(tenths));
      this.pad.show(line.scale, tenths, view.signed || !this.cls.open);
    } else this.drawFinish(view);
    this.remark.readOnly = this.locked;
    this.back.disabled = this.at === 0;
    this.next.hidden = !line;
    this.next.textContent = this.at === this.lines.length - 1 ? "Finish" : "Next";
    this.error.textContent = view.errors ? `Error of course (${view.errors})` : "Error of course";
    this.drawList(view);
    this.recording?.draw(view, line);
    this.drawRunning(view);
    const open = differences({ view, lines: this.lines, zone: this.day.zone, book: this.book, onDecided: () => this.afterDeciding() });
    const key = JSON.stringify([...view.held, ...view.refused]);
    if (key !== this.drawnDecisions) this.decisions.replaceChildren(...(open ? [open] : []));
    this.drawnDecisions = key;
  }

  afterDeciding() {
    this.drawNow();
    if (document.activeElement !== this.remark) this.remark.value = this.book.value(this.view, this.line ? `remark.${this.line.id}` : "overall");
    (this.decisions.querySelector("button") || this.head).focus();
  }

  drawList(view) {
    this.lines.forEach((line, index) => {
      const { go, mark, remark, state, moment } = this.listed[index];
      if (moment) this.recording.drawPart(moment, view);
      const tenths = view.marks[line.id];
      const waiting = view.waiting.has(`mark.${line.id}`) || view.waiting.has(`remark.${line.id}`);
      const drawn = `${tenths} ${waiting} ${index === this.at} ${view.remarks[line.id]}`;
      if (this.listed[index].drawn === drawn) return;
      this.listed[index].drawn = drawn;
      mark.textContent = tenths === undefined ? "–" : markAsWritten(tenths);
      remark.textContent = view.remarks[line.id] ?? "";
      state.textContent = `${tenths === undefined ? " no mark yet" : ""}${waiting ? " kept here, not arrived yet" : ""}`;
      go.classList.toggle("is-waiting", waiting);
      go.classList.toggle("is-gap", tenths === undefined);
      if (index === this.at) go.setAttribute("aria-current", "step");
      else go.removeAttribute("aria-current");
    });
  }

  showPercentage() {
    this.book.set("percentage", this.percent.checked);
    this.draw();
  }

  drawRunning(view) {
    this.running.hidden = !this.percent.checked;
    if (!this.percent.checked) return;
    const data = { ...this.seat.arithmetic, deductions: this.entry.deductions[this.seat.id] || [] };
    const figures = tally(data, new Map(Object.entries(view.marks)), view.errors);
    this.running.textContent = figures.percentage === null ? "No mark yet" : `${figures.percentage} %${figures.gaps.length ? " so far" : ""}`;
  }

  drawFinish(view) {
    const gaps = this.lines.map((line, index) => ({ line, index })).filter(({ line }) => !(line.id in view.marks));
    const children = [el("h2", { className: "t-words" }, view.signed ? "Signed and locked" : "Finish the sheet")];
    if (view.given) children.push(el("p", {}, `The office keeps only the result of this sheet: ${Object.values(view.given)[0]} ${Object.keys(view.given)[0] === "percentage" ? "%" : "points"}.`));
    if (gaps.length) {
      children.push(el("p", { className: "t-fault" }, `${counted(gaps.length, "mark is", "marks are")} missing:`),
        el("ul", { className: "t-gaps" }, gaps.map(({ line, index }) => el("li", {}, button(line.label, () => this.go(index), { className: "button quiet" })))));
    } else if (!view.signed) children.push(el("p", {}, "Every movement has its mark."));
    if (view.errors) children.push(el("p", {}, this.cls.consequences[view.errors]));
    const signature = view.waiting.has("signed") ? " The signature is kept here and not arrived yet." : "";
    if (view.signed) {
      children.push(el("p", {}, `This sheet is locked.${signature}`));
      if (this.cls.open) children.push(button("Open again to correct", () => this.openAgain(), { className: "button quiet" }));
      children.push(el("p", {}, el("a", { className: "button", href: this.addresses.day(this.day) }, "All sheets")));
    } else if (this.cls.open) {
      const words = gaps.length ? `Sign with ${counted(gaps.length, "gap", "gaps")}` : "Sign and lock";
      children.push(button(words, () => this.sign(), { className: gaps.length ? "button quiet" : "button t-sign", id: "sign" }));
      if (gaps.length) children.push(el("p", { className: "small" }, "Sign with gaps only where the ride was not finished. The office asks for every other mark."));
    } else children.push(el("p", {}, "The results of this class are official, so nothing can be written any more."));
    const key = JSON.stringify([gaps.map(({ index }) => index), view.signed, view.errors, signature, view.given]);
    if (key === this.drawnFinish) return;
    const focused = this.finishing.contains(document.activeElement);
    this.drawnFinish = key;
    this.finishing.replaceChildren(...children);
    if (focused) this.finishing.querySelector("button, a")?.focus();
  }

  // Keys

  onPageKey(event) {
    const { target, key } = event;
    if (this.recording?.onKey(event)) return;
    if (event.ctrlKey || event.metaKey || event.altKey || target.matches("input:not([type=checkbox]), textarea, select")) return;
    const onButton = target.matches("button, a, summary, input");
    const acts = {
      ArrowDown: () => this.confirm(), "+": () => this.confirm(), ArrowUp: () => this.go(this.at - 1), "-": () => this.go(this.at - 1),
      Backspace: () => this.erase(), Delete: () => this.erase(), r: () => this.remark.focus(), "*": () => this.remark.focus(),
      e: () => this.errorOfCourse(), "/": () => this.errorOfCourse(), g: () => this.firstGap(), f: () => this.go(this.lines.length),
      o: () => this.go(this.lines.length) || this.remark.focus(), s: () => this.signByKey(),
    };
    if (/^[0-9.,]$/.test(key)) this.type(key);
    else if (key === "Enter" && !onButton) this.confirm();
    else if (acts[key] || acts[key.toLowerCase()]) (acts[key] || acts[key.toLowerCase()])();
    else return;
    event.preventDefault();
    if (onButton && target.matches(".t-key, .t-list-go")) target.blur();
  }

  onRemarkKey(event) {
    const choice = event.altKey && /^Digit[1-6]$/.test(event.code) ? Number(event.code.slice(-1)) - 1 : -1;
    if (choice >= 0) this.offered.querySelectorAll("button")[choice]?.click();
    else if (event.key === "Enter" && this.line && !event.shiftKey) this.go(this.at + 1);
    else if (event.key === "Escape") this.remark.blur();
    else if (event.key === "ArrowDown" && this.offered.firstChild && this.line) this.offered.querySelector("button").focus();
    else return;
    event.preventDefault();
  }

  onPhraseKey(event) {
    const all = [...this.offered.querySelectorAll("button")];
    const to = all.indexOf(event.target) + ({ ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 }[event.key] ?? 0);
    if (event.key === "Escape" || to < 0) this.remark.focus();
    else if (event.key.startsWith("Arrow")) all[Math.min(to, all.length - 1)].focus();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }
}
