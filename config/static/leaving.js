// Logging out where the judge's table keeps sheets on this device. What has arrived is cleared; what has not is sent
// first, or stays for the account that wrote it. Nothing of it is ever thrown away here.

import { Book } from "./table/book.js";
import { button, counted, el } from "./table/elements.js";
import { Sender } from "./table/sender.js";

const form = document.getElementById("log-out");
const { user, name, table } = form.dataset;

class Leaving {
  constructor(book) {
    this.book = book;
    this.sender = new Sender(book, table);
    this.sender.addEventListener("state", () => this.onState());
    this.sending = false;
    this.dialog = el("dialog", { className: "question", "aria-labelledby": "leaving-head", on: { close: () => this.dialog.remove() } });
  }

  get changes() {
    return this.book.own().length;
  }

  get commentaries() {
    return this.book.commentaries().length;
  }

  start() {
    if (this.changes || this.commentaries) this.ask();
    else this.logOut();
  }

  ask(said = "") {
    const { changes, commentaries } = this;
    const kept = [changes && `${counted(changes, "change", "changes")} to your sheets`, commentaries && counted(commentaries, "commentary in work", "commentaries in work")].filter(Boolean);
    const one = changes + commentaries === 1;
    this.dialog.replaceChildren(
      el("h2", { id: "leaving-head" }, "Not everything has arrived"),
      el("p", {}, `${kept.join(" and ")} ${one ? "is" : "are"} kept on this device only. If you log out now, ${one ? "it stays" : "they stay"} here until you log in on this device again; no other account sees or sends ${one ? "it" : "them"}.`),
      el("p", { role: "status", className: "strong" }, said),
      el("p", {}, el("a", { href: table }, "To the judge's table")),
      el("div", { className: "actions" },
        this.book.sending().length ? button("Send first, then log out", () => this.sendFirst(), { className: "button" }) : null,
        button("Log out and keep on this device", () => this.logOut(), { className: "button quiet" }),
        button("Stay logged in", () => this.dialog.close(), { className: "button quiet" })));
    if (this.dialog.open) return;
    document.body.append(this.dialog);
    this.dialog.showModal();
  }

  sendFirst() {
    this.sending = true;
    this.dialog.querySelector("[role=status]").textContent = "Sending …";
    this.sender.kick({ now: true });
  }

  onState() {
    if (!this.sending || this.sender.state === "sending") return;
    this.sending = false;
    const undecided = this.book.own().filter((change) => change.held || change.refused).length;
    if (this.sender.state !== "idle") this.ask(this.sender.said || "The server does not answer, so nothing was sent. Try again when the network is back.");
    else if (undecided) this.ask(`The server has the rest; ${counted(undecided, "change needs", "changes need")} you to decide at the judge's table.`);
    else this.start();
  }

  // The session is ended first: a page that is open beside this one would otherwise fetch again what is cleared.
  async logOut() {
    const response = await fetch(form.action, { method: "POST", body: new FormData(form) }).catch(() => null);
    if (!response) return this.ask("The server does not answer, so you are still logged in. Try again when the network is back.");
    if (!response.redirected) return form.submit(); // the server's page says what is wrong
    await this.book.forget();
    return window.location.assign(response.url);
  }
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const book = new Book();
  await book.open();
  if (!book.store.database) return form.submit(); // this browser keeps nothing
  book.beUser({ id: Number(user), name });
  return new Leaving(book).start();
});
