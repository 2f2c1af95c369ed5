// The sheets of this device: what the server last said, and on top of it what was written here and has not arrived.
// Everything is read from memory at once; every change goes to the disk in the same breath.

import { Store } from "./store.js";

const FIRST_OF = { mark: null, remark: "", overall: "", signed: false, errors: 0, told: null, time: null, remark_time: null, overall_time: null, limited: false };
// Where a field of an item stands in a sheet; limited view is a set of items.
const OF_ITEMS = { mark: "marks", remark: "remarks", time: "times", remark_time: "remarkTimes" };
const OF_SHEET = { overall_time: "overallTime" };
const EVERYTHING = () => IDBKeyRange.lowerBound(-Infinity);
const kindOf = (field) => field.split(".", 1)[0];
const itemOf = (field) => field.slice(field.indexOf(".") + 1);
const same = (a, b) => (a ?? null) === (b ?? null);

export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

export class Book extends EventTarget {
  constructor() {
    super();
    this.store = new Store();
    Object.assign(this, { user: null, days: new Map(), sheets: new Map(), entries: new Map(), queue: [], settings: {} });
    Object.assign(this, { trouble: "", writing: Promise.resolve(), pending: new Map(), latest: new Map(), unkept: 0, edition: 0, flushing: false });
    this.channel = "BroadcastChannel" in window ? new BroadcastChannel("markbook-table") : null;
    this.channel?.addEventListener("message", ({ data }) => (data === "left" ? this.dispatchEvent(new Event("left")) : this.reload()));
  }

  async open() {
    try {
      await this.store.open();
      await this.reload();
      for (const change of this.queue.filter((found) => found.open)) this.close(change); // a word that was left half written
    } catch (error) {
      this.fail(error);
    }
  }

  // Another page of this browser wrote: what it wrote is on the disk, and so is what was written here.
  async reload() {
    await this.kept();
    if (!this.store.database || this.trouble) return undefined;
    const { edition } = this;
    const [days, sheets, entries, queue, settings] = await this.store.read("days", "sheets", "entries", "queue", "settings");
    if (edition !== this.edition) return this.reload(); // something was written here while it was read
    this.settings = Object.fromEntries(settings.map((row) => [row.key, row.value]));
    this.user = this.settings.user || this.user;
    this.sheets = new Map(sheets.map((row) => [row.key, row]));
    this.entries = new Map(entries.map((row) => [row.key, row]));
    this.queue = queue.sort((a, b) => a.seq - b.seq || (a.id < b.id ? -1 : 1));
    this.days.clear();
    for (const day of days) if (day.user.id === this.user?.id) this.know(day);
    this.changed();
    return undefined;
  }

  know(day) {
    this.days.set(`${day.slug}/${day.date}`, day);
  }

  // What the server says

  beUser(user) {
    if (this.user?.id === user.id) return;
    this.user = user;
    this.set("user", user);
    this.days.clear();
  }

  takeDay(day) {
    this.know(day);
    this.keep("days", { ...day, sheets: [], key: `${day.user.id}/${day.slug}/${day.date}` });
    for (const cls of day.classes) for (const entry of cls.entries) this.takeEntry(entry);
    for (const sheet of day.sheets) this.takeSheet(sheet);
    this.changed();
  }

  takeSheet(sheet) {
    const key = `${sheet.entry}/${sheet.seat}`;
    const known = this.sheets.get(key);
    if (known && known.version > sheet.version) return; // an answer that was overtaken on its way
    this.sheets.set(key, { ...sheet, key });
    this.keep("sheets", this.sheets.get(key));
  }

  takeEntry({ id, version, errors, status, statusText }) {
    if ((this.entries.get(id)?.version ?? 0) > version) return;
    this.entries.set(id, { id, version, errors, status, statusText, key: id });
    this.keep("entries", this.entries.get(id));
  }

  // Takes the server's answer over what was sent: in one writing, so that nothing is half settled.
  settle({ answers, sheets, entries }) {
    const byId = new Map(this.queue.map((change) => [change.id, change]));
    const arrived = new Map();
    for (const answer of answers) {
      const change = byId.get(answer.id);
      if (!change) continue;
      if (answer.outcome === "arrived") {
        arrived.set(`${change.entry}/${change.seat}/${change.field}`, change.seq);
        this.remove(change);
      } else if (answer.outcome === "held" && change.field === "signed" && change.value) this.remove(change);
      else this.put(change, { [answer.outcome]: { why: answer.why, theirs: answer.theirs, by: answer.by, at: answer.at } });
    }
    for (const sheet of sheets) this.takeSheet(sheet);
    for (const entry of entries) this.takeEntry(entry);
    this.gatherHeld(arrived);
    this.holdSignatures();
    this.changed();
  }

  // A signature that was given before it was known what differs is given anew, after that is decided.
  holdSignatures() {
    const place = (change) => `${change.entry}/${change.seat}`;
    const differs = new Set(this.queue.filter((change) => change.held).map(place));
    for (const change of this.queue.filter((found) => found.field === "signed" && found.value && differs.has(place(found)))) this.remove(change);
  }

  // One question for a field, however often it was written: about the last value.
  gatherHeld(arrived) {
    for (const change of this.queue.filter((found) => found.held)) {
      const key = `${change.entry}/${change.seat}/${change.field}`;
      const ofField = this.queue.filter((found) => `${found.entry}/${found.seat}/${found.field}` === key);
      const last = ofField[ofField.length - 1];
      if ((arrived.get(key) ?? -1) > change.seq) this.remove(change);
      else if (last !== change && !last.tried) {
        this.put(last, { held: change.held });
        this.remove(change);
      } else if (last !== change && last.held) this.remove(change);
    }
  }

  // Takes from this device all that the server has. What has not arrived stays, whoever wrote it.
  async forget() {
    await this.again();
    await this.reload();
    const arrived = Object.keys(this.settings).filter((key) => !key.startsWith("commentary/") || !this.settings[key]);
    await this.store.write([...["days", "sheets", "entries"].map((name) => [name, null, EVERYTHING()]), ...arrived.map((key) => ["settings", null, key])]);
    this.channel?.postMessage("left");
  }

  // Reading

  of(entry, seat) {
    return this.own().filter((change) => change.entry === entry && (change.seat === seat || change.field === "errors"));
  }

  view(entry, seat) {
    const known = this.sheets.get(`${entry}/${seat}`) || { version: 0, marks: {}, remarks: {}, overall: "", signed: false, given: null, substitutes: [] };
    const state = this.entries.get(entry) || { errors: 0, status: "entered", statusText: "entered" };
    const view = { ...known, marks: { ...known.marks }, remarks: { ...known.remarks }, times: { ...known.times }, remarkTimes: { ...known.remarkTimes }, overallTime: known.overallTime ?? null, limited: new Set(known.limited), errors: state.errors, status: state.status, statusText: state.statusText };
    Object.assign(view, { waiting: new Map(), held: [], refused: [], told: [], signedThere: known.signed });
    for (const change of this.of(entry, seat)) {
      view.waiting.set(change.field, change);
      if (change.held) view.held.push(change);
      if (change.refused) view.refused.push(change);
      const kind = kindOf(change.field);
      if (OF_ITEMS[kind]) {
        if (change.value === null) delete view[OF_ITEMS[kind]][itemOf(change.field)];
        else view[OF_ITEMS[kind]][itemOf(change.field)] = change.value;
      } else if (kind === "limited") view.limited[change.value ? "add" : "delete"](itemOf(change.field));
      else if (kind === "told") view.told.push(change);
      else view[OF_SHEET[kind] ?? kind] = change.value;
    }
    return view;
  }

  value(view, field) {
    const kind = kindOf(field);
    if (OF_ITEMS[kind]) return view[OF_ITEMS[kind]][itemOf(field)] ?? FIRST_OF[kind];
    if (kind === "limited") return view.limited.has(itemOf(field));
    return view[OF_SHEET[kind] ?? kind] ?? FIRST_OF[kind];
  }

  own() {
    const id = this.user?.id;
    return this.queue.filter((change) => change.user === id);
  }

  // Commentaries of this person that are not remarks yet.
  commentaries() {
    return Object.entries(this.settings).filter(([key, value]) => value?.text && key.startsWith(`commentary/${this.user?.id}/`));
  }

  sending() {
    return this.own().filter((change) => !change.held && !change.refused);
  }

  // Writing. `open` is a value that is still being written: it is kept here, and sent when it is finished.

  write(entry, seat, field, value, { open = false, overGiven = false } = {}) {
    const before = this.value(this.view(entry, seat), field);
    const earlier = this.queue.filter((change) => change.entry === entry && change.seat === seat && change.field === field);
    const last = field === "told" ? undefined : earlier[earlier.length - 1];
    if (last && (!last.tried || last.held || last.refused)) {
      if (!last.held && same(value, last.base)) this.remove(last);
      else this.put(last, { value, open: open && !last.held });
    } else if (field === "told" || !same(value, before)) {
      this.add({ entry, seat, field, value, base: before, open, overGiven });
    }
    this.changed();
  }

  // The order is a count of our own: a clock may be wrong, or be set while the day runs.
  add(change) {
    const seq = this.queue.reduce((most, found) => Math.max(most, found.seq), 0) + 1;
    const made = { ...change, id: newId(), seq, user: this.user?.id, deviceTime: new Date().toISOString() };
    this.queue.push(made);
    this.keep("queue", made);
  }

  // What was being written is finished.
  closeAll() {
    const open = this.queue.filter((change) => change.open);
    for (const change of open) this.close(change);
    if (open.length) this.changed();
  }

  close(change) {
    const value = typeof change.value === "string" ? change.value.trim() : change.value;
    if (same(value, change.base) && !change.tried) this.remove(change);
    else this.put(change, { open: false, value });
  }

  keepMine(change) {
    this.remove(change);
    const { entry, seat, field, value, held } = change;
    if (this.sheets.get(`${entry}/${seat}`)?.signed && field !== "errors") this.write(entry, seat, "signed", false);
    const given = kindOf(field) === "mark" && typeof held.theirs === "string";
    this.add({ entry, seat, field, value, base: given ? null : held.theirs, overGiven: given, open: false });
    this.changed();
  }

  takeTheirs(change) {
    this.remove(change);
    this.changed();
  }

  // It is sent under a new name: under the old one the server has an answer already, or none.
  sendAgain(change) {
    this.remove(change);
    this.add({ ...change, refused: undefined, tried: false });
    this.changed();
  }

  tried(changes) {
    for (const change of changes) if (!change.tried) this.put(change, { tried: true });
    return this.kept();
  }

  // The disk

  set(key, value) {
    this.settings[key] = value;
    this.keep("settings", { key, value });
  }

  put(change, values) {
    Object.assign(change, values);
    this.keep("queue", change);
  }

  remove(change) {
    this.queue = this.queue.filter((found) => found !== change);
    this.pend("queue", null, change.id);
  }

  keep(name, row) {
    this.pend(name, row, name === "queue" ? row.id : row.key);
  }

  pend(name, row, key) {
    this.edition += 1;
    const kept = [name, row && structuredClone(row), key];
    this.pending.set(`${name} ${key}`, kept);
    this.latest.set(`${name} ${key}`, kept);
    this.again();
  }

  async flush() {
    this.flushing = false;
    const rows = [...this.pending.values()];
    this.pending.clear();
    if (!rows.length) return;
    const ours = rows.some(([name]) => name === "queue");
    if (ours) this.unkept += 1;
    try {
      await this.store.write(rows);
      for (const row of rows) if (this.latest.get(`${row[0]} ${row[2]}`) === row) this.latest.delete(`${row[0]} ${row[2]}`);
      this.trouble = "";
      this.channel?.postMessage("written");
    } catch (error) {
      for (const row of rows) if (this.latest.get(`${row[0]} ${row[2]}`) === row) this.pending.set(`${row[0]} ${row[2]}`, row);
      this.fail(error);
    }
    if (ours) this.unkept -= 1;
    this.dispatchEvent(new Event("kept"));
  }

  // Writes what is pending, without waiting for what is being written; also once more what the device refused.
  again() {
    if (this.pending.size && !this.flushing) {
      this.flushing = true;
      this.writing = Promise.all([this.writing, Promise.resolve().then(() => this.flush())]);
    }
    return this.writing;
  }

  kept() {
    return this.writing;
  }

  fail(error) {
    this.trouble = error?.name === "QuotaExceededError" ? "its storage is full" : error?.message || "it gave no reason";
    this.dispatchEvent(new Event("kept"));
  }

  changed() {
    this.dispatchEvent(new Event("changed"));
  }
}
