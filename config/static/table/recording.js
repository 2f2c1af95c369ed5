// The recording beside the sheet: it plays, and what is written while it does is stamped with its moment. The sheet
// goes on without it; only the film itself needs the network.

import { button, el } from "./elements.js";
import { momentText, readMoment } from "../film/moments.js";
import { Player } from "../film/player.js";

export class RecordingPanel {
  constructor(page, recording) {
    Object.assign(this, { page, recording, player: null, begun: new Map() });
    this.build();
  }

  // A class at the arena has no panel; one from recordings has it also before the film has arrived.
  static beside(page) {
    return page.cls.fromRecordings ? new RecordingPanel(page, page.entry.recording) : null;
  }

  build() {
    const { recording } = this;
    this.state = el("p", { className: "t-film-state", role: "status" });
    this.element = el("section", { className: "t-film", "aria-label": "Recording" }, this.picture(), this.state, this.stamp());
    if (!recording) this.state.textContent = "No recording of this ride has arrived yet. Ask the show office.";
    else if (recording.link) this.state.textContent = "It lies elsewhere: whoever runs that site learns that you open it. Moments are written by hand.";
    else this.drawState();
  }

  picture() {
    const { recording } = this;
    if (!recording) return [];
    const from = el("p", { className: "t-film-from" }, `Filmed ${recording.camera}`);
    if (recording.link) return [from, el("p", {}, el("a", { className: "button quiet", href: recording.link, target: "_blank", rel: "noopener noreferrer" }, `Open the recording at ${new URL(recording.link).hostname}`))];
    const video = el("video", { className: "t-film-picture", src: recording.film, controls: true, playsInline: true, preload: "metadata", "aria-label": "Recording of the ride" });
    this.player = new Player(video);
    this.player.addEventListener("changed", () => this.drawState());
    this.play = button("Play", () => this.player.toggle(), { className: "button t-film-play" });
    this.slow = button("Slower", () => this.player.slower(), { className: "button quiet", "aria-pressed": "false" });
    this.moves = el("div", { className: "t-film-moves", role: "group", "aria-label": "Playing" }, button("Back 5 s", () => this.player.back(), { className: "button quiet" }), this.play, this.slow);
    return [el("div", { className: "t-film-top" }, video, this.moves), from];
  }

  // What is stamped of the current movement: the moment, and whether the camera showed enough.
  stamp() {
    this.time = el("input", { id: "moment", className: "t-film-time figure", type: "text", inputMode: "numeric", autocomplete: "off", maxLength: 12, placeholder: "m:ss", on: { change: () => this.typed(), keydown: (event) => this.onTimeKey(event) } });
    this.label = el("label", { className: "t-film-label", htmlFor: "moment" });
    this.now = button("Now", () => this.stampNow(), { className: "button quiet" });
    this.there = button("Go there", () => this.goThere(), { className: "button quiet t-film-there" });
    this.limited = button("Limited view", () => this.toggleLimited(), { className: "button quiet t-limited", "aria-pressed": "false" });
    this.fault = el("p", { className: "t-fault", role: "alert" });
    this.stamped = el("div", { className: "t-film-stamp", role: "group", "aria-label": "Moment of this movement" }, this.label, this.time, this.player ? this.now : null, this.player ? this.there : null, this.limited);
    return [this.stamped, this.fault];
  }

  // Writing

  get field() {
    return this.page.line ? `time.${this.page.line.id}` : "overall_time";
  }

  put(field, value) {
    this.page.write(field, value, { open: false });
  }

  // The first letter of a remark is about to become one: its moment is that of the letter, not of the word's end.
  typing(field, text) {
    if (!text.trim()) this.begun.delete(field);
    else if (!this.begun.has(field)) this.begun.set(field, this.player?.moment ?? null);
  }

  wrote(field, value) {
    const [kind, item] = field.split(/\.(.*)/s);
    if (kind === "mark" && value !== null) this.putFirst(`time.${item}`, this.player?.moment ?? null);
    if (kind === "remark") this.remarked(field, `remark_time.${item}`, value);
    if (kind === "overall") this.remarked(field, "overall_time", value);
  }

  remarked(field, timeField, text) {
    if (text.trim()) this.putFirst(timeField, this.begun.get(field) ?? this.player?.moment ?? null);
    else {
      this.begun.delete(field);
      if (this.value(timeField) !== null) this.put(timeField, null);
    }
  }

  putFirst(field, moment) {
    if (moment !== null && this.value(field) === null) this.put(field, moment);
  }

  value(field) {
    return this.page.book.value(this.page.view, field);
  }

  stampNow() {
    if (this.page.locked) return this.page.sayLocked();
    const moment = this.player?.moment ?? null;
    if (moment === null) return this.page.say("The recording has not been played yet.");
    this.put(this.field, moment);
    return this.page.draw();
  }

  typed() {
    if (this.page.locked) return this.page.sayLocked();
    const moment = readMoment(this.time.value);
    this.fault.textContent = moment === undefined ? `"${this.time.value}" is no moment of a recording. Write minutes and seconds, such as 1:23.` : "";
    if (moment === undefined) return undefined;
    this.put(this.field, moment);
    return this.page.draw();
  }

  onTimeKey(event) {
    if (event.key !== "Enter" && event.key !== "Escape") return;
    if (event.key === "Escape") this.time.value = momentText(this.value(this.field));
    this.time.blur();
    event.preventDefault();
    event.stopPropagation();
  }

  goThere(moment = this.value(this.field)) {
    if (moment === null) this.page.say("No moment is stamped here yet.");
    else this.player?.go(moment);
  }

  toggleLimited() {
    if (!this.page.line) return undefined;
    if (this.page.locked) return this.page.sayLocked();
    const field = `limited.${this.page.line.id}`;
    const limited = !this.value(field);
    this.put(field, limited);
    return this.page.say(limited ? `Limited view of ${this.page.line.label}: the sheet will say so.` : `${this.page.line.label} was seen in full.`);
  }

  // Keys: none of them is one of the sheet's. In the remark, where letters are text, the same with Alt.

  acts() {
    const { player } = this;
    return {
      p: () => player?.toggle(), b: () => player?.back(), n: () => player?.slower(),
      t: () => this.stampNow(), j: () => this.goThere(), l: () => this.toggleLimited(),
    };
  }

  onKey(event) {
    const { target, key } = event;
    if (event.ctrlKey || event.metaKey) return false;
    if (target.matches("video") && !/^[a-z0-9.,]$/i.test(key)) return true; // arrows and space are the player's own there
    const writing = target.matches("input:not([type=checkbox]), textarea, select");
    if (writing !== event.altKey) return false;
    const letter = /^[a-z]$/i.test(key) ? key.toLowerCase() : /^Key([A-Z])$/.exec(event.code)?.[1].toLowerCase(); // Alt may make another sign of it
    const act = this.acts()[letter];
    if (!act) return false;
    act();
    event.preventDefault();
    return true;
  }

  static keys = [["P", "play or pause the recording; in the remark Alt P, and so on"], ["B", "back five seconds"], ["N", "slower, or as it was"], ["T", "stamp the movement anew"], ["J", "to the movement's moment"], ["L", "limited view"]];

  // Drawing

  drawState() {
    const { player } = this;
    if (!player) return;
    this.play.textContent = player.video.paused ? "Play" : "Pause";
    this.slow.setAttribute("aria-pressed", String(player.slow));
    const words = player.fault ? `${player.fault} Marks and remarks are kept all the same.` : player.slow ? "At half speed." : "";
    if (this.state.textContent !== words) this.state.textContent = words;
    this.state.classList.toggle("is-fault", Boolean(player.fault));
  }

  draw(view, line) {
    const moment = this.value(this.field);
    if (document.activeElement !== this.time) {
      this.time.value = momentText(moment);
      this.fault.textContent = "";
    }
    this.time.readOnly = this.page.locked;
    this.label.textContent = line ? "Marked at" : "Remarks at";
    this.limited.hidden = !line;
    this.there.disabled = moment === null;
    this.limited.setAttribute("aria-pressed", String(Boolean(line && view.limited.has(line.id))));
  }

  // Beside a line of the list: its moment, to go there, and whether the view was limited.
  listPart(line, index) {
    const go = button("", () => this.jump(index), { className: "t-list-time figure", hidden: true });
    return { go, drawn: "", line };
  }

  jump(index) {
    this.page.go(index);
    const moment = this.value(this.field);
    if (moment !== null) this.goThere(moment);
  }

  drawPart(part, view) {
    const moment = view.times[part.line.id] ?? view.remarkTimes[part.line.id] ?? null;
    const limited = view.limited.has(part.line.id);
    const drawn = `${moment} ${limited}`;
    if (part.drawn === drawn) return;
    part.drawn = drawn;
    part.go.hidden = moment === null && !limited;
    part.go.disabled = moment === null || !this.player;
    part.go.textContent = [momentText(moment), limited ? "limited view" : ""].filter(Boolean).join(", ");
    part.go.setAttribute("aria-label", `${part.line.label}: ${moment === null ? "" : `play from ${momentText(moment)}`}${limited ? " limited view" : ""}`);
  }

  leave() {
    this.player?.leave();
  }
}
