// What was spoken over a ride becomes remarks: give the text, look the proposal through, make remarks of it. All but the
// laying itself goes without network; what is given and placed is kept on this device until it has become remarks.

import { momentText, readMoment } from "../film/moments.js";
import { button, counted, el } from "./elements.js";
import { readTextFile } from "./textfile.js";
import { placeSection, spoken } from "./places.js";
import { Proposal, confidenceOf, isUncertain } from "./proposal.js";
import { csrfToken } from "./sender.js";

const PATIENCE = 20000;
const LONGEST = 60000;
const LONGEST_REMARK = 1000;
const LONGEST_OVERALL = 5000;
const KEYS = [["↑ ↓", "sentence before, next"], ["← →", "to the movement before, next"], ["G", "to the ride as a whole"], ["U", "next uncertain one"], ["Enter", "right as it is"], ["S", "split"], ["E", "edit the words"], ["Delete", "leave out"], ["Z", "take the last step back"]];

export class CommentaryPage {
  constructor({ book, place, entry, addresses, onDone }) {
    Object.assign(this, { book, entry, addresses, onDone, ...place, problems: [], busy: false, chosen: null, doing: null });
    this.title = `Commentary, ${entry.number} at ${this.seat.seat}`;
    const kept = book.settings[this.key] || {};
    this.text = kept.text ?? "";
    this.begins = kept.begins ?? 0; // of the recording at which the dictation begins, in milliseconds
    this.proposal = kept.sentences ? new Proposal(this.ids, kept) : null;
    this.chosen = this.proposal?.shown()[0]?.id ?? null;
    this.build();
    this.drawAll();
  }

  get key() {
    return `commentary/${this.book.user?.id}/${this.entry.id}/${this.seat.id}`;
  }

  get ids() {
    return this.seat.lines.map((line) => line.id);
  }

  get view() {
    return this.book.view(this.entry.id, this.seat.id);
  }

  get locked() {
    if (!this.cls.open) return "The results of this class are official, so its sheets stay as they are.";
    return this.view.signed ? "The sheet is signed and locked. Open it again on the sheet, then come back: all of this is kept." : "";
  }

  standing(place) {
    return place === null ? this.view.overall : this.view.remarks[place] ?? "";
  }

  // Kept on this device at every step.
  keep() {
    this.book.set(this.key, this.proposal ? { text: this.text, begins: this.begins, ...this.proposal.snapshot() } : { text: this.text });
  }

  forget() {
    this.text = "";
    this.begins = 0;
    this.proposal = null;
    this.book.set(this.key, null);
  }

  // The page

  build() {
    const { entry, cls, seat } = this;
    const sheet = this.addresses.sheet(this.day, cls, seat, entry);
    this.head = el("h1", { className: "t-who", tabIndex: -1 }, "Commentary: ", el("span", { className: "figure" }, entry.number), ` ${entry.rider}`, el("span", { className: "t-horse" }, entry.horse));
    this.body = el("div", {});
    this.said = el("p", { className: "t-said", role: "status" });
    this.element = el("div", { className: "t-commentary" },
      el("header", { className: "t-head" }, el("a", { className: "t-up", href: sheet }, "Back to the sheet"), this.head, el("p", { className: "t-lead" }, `Seat ${seat.seat}${seat.judge ? `, ${seat.judge}` : ""} · Class ${cls.number} · ${cls.test}`)),
      this.body, this.said);
    this.onKey = (event) => this.onPageKey(event);
    document.addEventListener("keydown", this.onKey);
  }

  leave() {
    this.finish();
    document.removeEventListener("keydown", this.onKey);
  }

  finish() {
    if (this.area && this.area.value !== this.text) {
      this.text = this.area.value;
      this.keep();
    }
  }

  // Something on this device changed: the remarks that stand there may be others now.
  draw() {
    const seen = JSON.stringify([this.view.remarks, this.view.overall, this.locked]);
    if (seen !== this.seen && this.proposal && !this.doing) this.drawAll();
    this.seen = seen;
  }

  drawAll({ focus = false } = {}) {
    this.area = null;
    this.body.replaceChildren(...(this.proposal ? this.review() : this.giving()));
    this.seen = JSON.stringify([this.view.remarks, this.view.overall, this.locked]);
    if (focus) this.focusChosen();
  }

  say(words) {
    this.said.textContent = words;
  }

  // Giving the text

  giving() {
    this.area = el("textarea", { id: "spoken", className: "c-text", rows: 12, value: this.text, spellcheck: false, "aria-describedby": "spoken-hint", on: { input: () => this.typing() } });
    this.file = el("input", { type: "file", id: "spoken-file", accept: ".vtt,.srt,.txt,text/vtt,text/plain", on: { change: () => this.take(this.file.files[0]) } });
    const form = el("form", { className: "form c-give", noValidate: true, on: { submit: (event) => this.onSubmit(event), dragover: (event) => event.preventDefault(), drop: (event) => this.onDrop(event) } },
      this.locked ? el("p", { className: "notice is-warning" }, this.locked) : null,
      el("p", {}, "A text that was spoken while watching becomes remarks. This show's own server lays it on the movements and keeps nothing of it; no other service hears of it. It stays on this device until it has become remarks."),
      this.problemList(),
      el("div", { className: "field" }, el("label", { htmlFor: "spoken-file" }, "A file from your dictation"), this.file, el("p", { className: "field-hint" }, "WebVTT (.vtt), SRT (.srt) or plain text (.txt). You can also drop it here.")),
      el("div", { className: "field" }, el("label", { htmlFor: "spoken" }, "Or the text itself"), this.area,
        el("p", { className: "field-hint", id: "spoken-hint" }, "With times as your dictation wrote them, or without: then one remark a line.")),
      el("div", { className: "actions" }, el("button", { type: "submit", className: "button", disabled: this.busy || Boolean(this.locked) }, this.busy ? "Laying it on the movements …" : "Lay it on the movements")));
    return [form];
  }

  problemList() {
    if (!this.problems.length) return null;
    return el("div", { className: "form-errors", role: "alert" }, this.problems.length > 1 ? el("ul", {}, this.problems.map((sentence) => el("li", {}, sentence))) : el("p", {}, this.problems[0]));
  }

  typing() {
    window.clearTimeout(this.resting);
    this.resting = window.setTimeout(() => this.finish(), 300);
  }

  async take(file) {
    if (!file) return;
    this.finish();
    const { text, fault } = await readTextFile(file, LONGEST);
    this.problems = fault ? [fault] : [];
    if (!fault) {
      this.text = text;
      this.keep();
      this.say(`${file.name} is in the field below. Lay it on the movements when it is the right one.`);
    }
    this.drawAll();
    (fault ? this.file : this.body.querySelector("button[type=submit]")).focus();
  }

  onDrop(event) {
    event.preventDefault();
    this.take(event.dataTransfer?.files[0]);
  }

  async onSubmit(event) {
    event.preventDefault();
    if (this.busy) return;
    this.finish();
    this.problems = this.text.trim() ? [] : ["There is no text yet. Choose a file, or write or paste what was said."];
    if (this.text.length > LONGEST) this.problems = [`The text has ${this.text.length} characters; at most ${LONGEST} are read. Give the part about this ride.`];
    if (!this.problems.length) await this.lay();
    this.drawAll({ focus: Boolean(this.proposal) });
    this.area?.focus();
  }

  async lay() {
    this.busy = true;
    this.drawAll();
    this.say("");
    try {
      const response = await fetch(`${this.addresses.commentary(this.day, this.cls, this.seat, this.entry)}proposal/`, {
        method: "POST",
        body: JSON.stringify({ text: this.text }),
        headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrfToken() },
        signal: AbortSignal.timeout(PATIENCE),
      });
      await this.answered(response);
    } catch {
      this.problems = ["The network is gone, so the text is not laid yet. It is kept on this device: try again when the network is back."];
    }
    this.busy = false;
  }

  async answered(response) {
    const known = (response.headers.get("Content-Type") || "").startsWith("application/json");
    const found = known ? await response.json() : {};
    if (!response.ok) {
      this.problems = found.problems ?? [found.message ?? `The server answered ${response.status}. The text is kept on this device: try again.`];
      return;
    }
    this.proposal = new Proposal(this.ids, { sentences: found.sentences, choices: {} });
    this.chosen = this.proposal.uncertain()[0]?.id ?? this.proposal.shown()[0]?.id ?? null;
    this.keep();
  }

  // Looking it through

  review() {
    const places = [...this.seat.lines.map((line) => ({ place: line.id, line })), { place: null, line: null }];
    const keys = el("details", { className: "keys" }, el("summary", {}, "Keys"), el("dl", { className: "facts" }, KEYS.flatMap(([key, does]) => [el("dt", {}, el("kbd", {}, key)), el("dd", {}, does)])));
    const whole = this.proposal.on(null).length ? places.pop() : null;
    if (whole) places.unshift(whole);
    return [
      this.locked ? el("p", { className: "notice is-warning" }, this.locked) : null,
      this.doubts(),
      el("div", { className: "c-places" }, places.map((found) => placeSection(this, found))),
      this.problemList(),
      this.closing(), keys,
    ].filter(Boolean);
  }

  doubts() {
    const doubtful = this.proposal.uncertain();
    const words = doubtful.length ? `${counted(doubtful.length, "sentence is", "sentences are")} uncertain. Look where ${doubtful.length === 1 ? "it" : "they"} should stand.` : "No sentence is uncertain. Look it through, then make remarks of it.";
    return el("section", { className: "c-doubts", "aria-label": "Uncertain sentences" },
      el("p", { className: "strong" }, words),
      doubtful.length ? el("div", { className: "actions" }, button("Next uncertain one", () => this.goUncertain(), { className: "button quiet" })) : null,
      doubtful.length ? el("ul", { className: "c-doubtful" }, doubtful.map((sentence) => el("li", {}, button(sentence.text, () => this.choose(sentence.id), { className: "link-button" }), ` ${this.placeName(sentence.item)}`))) : null);
  }

  closing() {
    const filled = this.proposal.places.filter((place) => this.proposal.on(place).length);
    const movements = filled.filter((place) => place !== null).length;
    const words = `${counted(movements, "movement gets", "movements get")} a remark${filled.includes(null) ? ", and the ride as a whole" : ""}.`;
    return el("section", { className: "c-closing", "aria-label": "Make remarks" }, el("p", {}, filled.length ? words : "Every sentence is left out, so there is nothing to make remarks of."),
      filled.length && this.proposal.timed ? this.moments() : null,
      el("div", { className: "actions" },
        button("Make remarks of it", () => this.makeRemarks(), { className: "button", disabled: Boolean(this.locked) || !filled.length }),
        button("Take the last step back", () => this.takeBack(), { className: "button quiet", disabled: !this.proposal.past.length }),
        button("Begin again with the text", () => this.begin(), { className: "button quiet" })));
  }

  // The times of the text are on the clock of the dictation, those of the sheet on that of the recording.
  moments() {
    const begins = el("input", { id: "begins", className: "c-begins figure", type: "text", inputMode: "numeric", autocomplete: "off", maxLength: 12, value: momentText(this.begins), "aria-describedby": "begins-hint", on: { change: () => this.setBegins(begins.value) } });
    return el("div", { className: "field" }, el("label", { htmlFor: "begins" }, "The dictation begins at this moment of the recording"), begins,
      el("p", { className: "field-hint", id: "begins-hint" }, "Minutes and seconds. Each remark gets the moment of its first words: captions of the recording are made of them. 0:00 where both began together."));
  }

  setBegins(text) {
    const moment = readMoment(text);
    this.problems = moment === undefined ? [`“${text}” is no moment of a recording. Write minutes and seconds, such as 0:12.`] : [];
    if (moment !== undefined) this.begins = moment ?? 0;
    this.keep();
    this.drawAll();
  }

  placeName(place) {
    if (place === null) return "ride as a whole";
    const line = this.seat.lines.find((found) => found.id === place);
    return `${line.id}${line.at ? ` · ${line.at}` : ""}`;
  }

  begin() {
    this.proposal = null;
    this.problems = [];
    this.keep();
    this.drawAll();
    this.area.focus();
  }

  // Acting on a sentence

  get sentence() {
    return this.proposal?.get(this.chosen) ?? null;
  }

  choose(id, doing = null) {
    this.chosen = id;
    this.doing = doing;
    this.drawAll({ focus: true });
  }

  focusChosen() {
    const found = this.body.querySelector(".c-doing") ?? this.body.querySelector(`[data-sentence="${this.chosen}"]`);
    found?.focus({ preventScroll: true });
    found?.scrollIntoView({ block: "nearest" });
  }

  changed(words) {
    this.keep();
    this.doing = null;
    this.problems = [];
    if (!this.sentence) this.chosen = this.proposal.shown()[0]?.id ?? null;
    this.drawAll({ focus: true });
    this.say(words);
  }

  move(steps) {
    if (!this.sentence) return;
    if (this.proposal.move(this.chosen, steps)) this.changed(`Now on ${this.placeName(this.sentence.item)}.`);
    else this.say(steps < 0 ? "There is nothing before the ride as a whole." : "This is the last line of the sheet.");
  }

  layOn(place) {
    if (!this.sentence) return;
    this.proposal.change(this.chosen, { item: place });
    this.changed(`Now on ${this.placeName(place)}.`);
  }

  settle() {
    if (!this.sentence) return;
    this.proposal.change(this.chosen, {});
    this.chosen = this.proposal.nextUncertain(this.chosen)?.id ?? this.chosen;
    this.changed("Stands as it is.");
  }

  goUncertain() {
    const next = this.proposal.nextUncertain(this.chosen);
    if (next) this.choose(next.id);
    else this.say("No sentence is uncertain.");
  }

  go(steps) {
    const shown = this.proposal.shown();
    const at = shown.findIndex((sentence) => sentence.id === this.chosen) + steps;
    if (shown[at]) this.choose(shown[at].id);
  }

  edit(text) {
    const id = this.chosen;
    this.proposal.edit(id, text);
    this.changed("The words are changed.");
  }

  startSplit() {
    if (this.sentence?.text.includes(" ")) this.choose(this.chosen, "split");
    else this.say("There is one word only, so there is nothing to split.");
  }

  split(word) {
    this.chosen = this.proposal.split(this.chosen, word)?.id ?? this.chosen;
    this.changed("The second part is a sentence of its own. Move it where it belongs.");
  }

  drop() {
    if (!this.sentence) return;
    const shown = this.proposal.shown();
    const at = shown.findIndex((sentence) => sentence.id === this.chosen);
    const words = spoken(this.sentence.text);
    this.proposal.drop(this.chosen);
    this.chosen = (shown[at + 1] ?? shown[at - 1])?.id ?? null;
    this.changed(`${words} is left out.`);
  }

  takeBack() {
    if (this.proposal.takeBack()) this.changed("The last step is taken back.");
  }

  onPageKey(event) {
    if (!this.proposal || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Escape" && this.doing) {
      this.choose(this.chosen);
      return;
    }
    if (this.doing || event.target.closest("textarea, select, input, summary")) return;
    if (event.key === "Enter" && event.target.closest("button, a") && !event.target.closest(".c-words")) return; // Enter is that button's own
    const acts = {
      ArrowUp: () => this.go(-1), ArrowDown: () => this.go(1), ArrowLeft: () => this.move(-1), ArrowRight: () => this.move(1),
      g: () => this.layOn(null), u: () => this.goUncertain(), Enter: () => this.settle(), s: () => this.startSplit(),
      e: () => this.sentence && this.choose(this.chosen, "edit"), Delete: () => this.drop(), z: () => this.takeBack(),
    };
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  // Becoming remarks: every one is a change of its own in the book, which sends it when it can and overwrites nobody.

  makeRemarks() {
    const wanted = this.proposal.places.filter((place) => this.proposal.on(place).length);
    const results = wanted.map((place) => ({ place, text: this.proposal.result(place, this.standing(place)) }));
    this.problems = results.filter(({ place, text }) => text.length > (place === null ? LONGEST_OVERALL : LONGEST_REMARK))
      .map(({ place, text }) => `The remark on ${this.placeName(place)} would have ${text.length} characters; ${place === null ? LONGEST_OVERALL : LONGEST_REMARK} are allowed. Shorten it, or put part of it elsewhere.`);
    if (this.problems.length || this.locked) return this.drawAll();
    for (const { place, text } of results) this.write(place, text);
    this.forget();
    this.book.closeAll();
    const movements = results.filter(({ place }) => place !== null).length;
    return this.onDone(`The commentary is on the sheet: remarks on ${counted(movements, "movement", "movements")}. The line above says whether they have arrived.`);
  }

  write(place, text) {
    const [field, timeField] = place === null ? ["overall", "overall_time"] : [`remark.${place}`, `remark_time.${place}`];
    const standing = this.standing(place);
    const moment = this.proposal.momentFor(place, { standing, moment: this.book.value(this.view, timeField), begins: this.begins });
    this.book.write(this.entry.id, this.seat.id, field, text);
    this.book.write(this.entry.id, this.seat.id, timeField, moment);
  }

  confidence(sentence) {
    return { words: confidenceOf(sentence), doubtful: isUncertain(sentence) };
  }
}
