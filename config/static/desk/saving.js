// Saving a sheet without leaving the page: what the server said is shown, and when the network fails everything stays.

const byId = (id) => document.getElementById(id);

function notice(kind, ...content) {
  const box = document.createElement("div");
  box.className = kind === "problem" ? "form-errors" : "notice is-error";
  box.append(...content);
  return box;
}

function paragraph(text) {
  const line = document.createElement("p");
  line.textContent = text;
  return line;
}

export class Saver {
  constructor({ form, onSend, onSaved, onProblems, onClash }) {
    Object.assign(this, { form, onSend, onSaved, onProblems, onClash, leaving: false, busy: false });
  }

  async save(then) {
    if (this.busy) return;
    this.busy = true;
    this.then = then;
    this.onSend();
    this.say("Saving …");
    for (const id of ["save", "save-next"]) byId(id).setAttribute("aria-busy", "true");
    try {
      const body = new URLSearchParams(new FormData(this.form));
      body.set("then", then);
      const response = await fetch(this.form.action || window.location.href, {
        method: "POST",
        body,
        headers: { Accept: "application/json" },
        redirect: "manual",
      });
      await this.read(response);
    } catch {
      this.failed("the network did not answer");
    } finally {
      this.busy = false;
      for (const id of ["save", "save-next"]) byId(id).removeAttribute("aria-busy");
    }
  }

  async read(response) {
    const known = (response.headers.get("Content-Type") || "").startsWith("application/json");
    if (response.type === "opaqueredirect") this.failed("you are not logged in any more. Log in again in another tab");
    else if (!known) this.failed(response.status === 403 ? "the page was open for too long. Reload it in another tab and log in" : `the server answered ${response.status}`);
    else if (response.ok) this.succeeded(await response.json());
    else this.refused(response.status, await response.json());
  }

  succeeded(answer) {
    byId("notices").replaceChildren();
    byId("clash-place").replaceChildren();
    const clean = this.onSaved(answer);
    this.say(clean ? answer.message : `${answer.message} What was typed since then is not saved yet.`);
    this.form.dataset.saved = String(answer.version);
    if (this.then && clean) {
      this.leaving = true;
      window.location.assign(answer.next);
    }
  }

  refused(status, answer) {
    if (answer.html) {
      this.say("Not saved yet: choose, then save again.");
      byId("notices").replaceChildren();
      byId("clash-place").innerHTML = answer.html;
      this.onClash(answer);
      const open = document.querySelector(".clash-row.is-open input[type=radio]");
      (open || byId("clash")).focus();
      byId("clash").scrollIntoView({ block: "nearest" });
      return;
    }
    this.say("Not saved.");
    if (answer.version !== undefined) byId("version").value = answer.version;
    const list = document.createElement("ul");
    for (const { sentence } of answer.problems) {
      const line = document.createElement("li");
      line.textContent = sentence;
      list.append(line);
    }
    byId("notices").replaceChildren(notice("problem", paragraph("Not saved. Everything that you typed is still here."), list));
    this.onProblems(answer.problems);
  }

  failed(why) {
    this.say(`Not saved: ${why}.`);
    const again = document.createElement("button");
    again.type = "button";
    again.className = "button";
    again.id = "save-again";
    again.textContent = "Save again";
    again.addEventListener("click", () => this.save(this.then));
    byId("notices").replaceChildren(
      notice("network", paragraph(`Not saved: ${why}. Everything that you typed is still here and kept in this tab.`), again),
    );
    again.focus();
  }

  say(text) {
    byId("save-said").textContent = text;
  }
}
