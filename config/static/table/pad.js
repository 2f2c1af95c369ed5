// The pad: the whole, then the tenths; nothing moves under the finger. The second touch goes on to the next movement.

import { button, el } from "./elements.js";
import { markAsWritten } from "../desk/typed_mark.js";
import { tenthsOf, withinWhole, wholesOf } from "./marks.js";

export class Pad {
  constructor({ onMark, onDone, onClear }) {
    Object.assign(this, { onMark, onDone, onClear, scale: null, tenths: null });
    this.wholes = el("div", { className: "t-wholes" });
    this.halves = el("div", { className: "t-halves" });
    this.place = el("div", { className: "t-pad", role: "group", "aria-label": "Mark" }, this.wholes, this.halves);
  }

  show(scale, tenths, locked) {
    const other = !this.scale || ["minimum", "maximum", "step"].some((name) => this.scale[name] !== scale[name]);
    Object.assign(this, { scale, tenths });
    if (other) this.build();
    const whole = tenths === null ? null : Math.floor(tenths / 10);
    for (const made of this.wholes.children) {
      made.setAttribute("aria-pressed", String(Number(made.dataset.whole) === whole));
      made.disabled = locked;
    }
    const possible = whole === null ? [] : withinWhole(scale, whole);
    for (const made of this.halves.children) {
      const mark = whole === null ? null : whole * 10 + Number(made.dataset.tenth);
      const fits = possible.includes(mark);
      made.textContent = fits ? markAsWritten(mark) : `.${made.dataset.tenth}`;
      made.disabled = locked || !fits;
      made.setAttribute("aria-pressed", String(fits && mark === tenths));
    }
    this.halves.hidden = this.halves.children.length < 2;
  }

  build() {
    this.wholes.replaceChildren(...wholesOf(this.scale).map((whole) => button(String(whole), () => this.touchWhole(whole), { className: "t-key", data: { whole } })));
    this.halves.replaceChildren(...tenthsOf(this.scale).map((tenth) => button(`.${tenth}`, () => this.touchTenth(tenth), { className: "t-key is-half", data: { tenth } })));
    this.halves.classList.toggle("is-many", this.halves.children.length > 2);
  }

  touchWhole(whole) {
    const possible = withinWhole(this.scale, whole);
    this.onMark(possible[0], { open: possible.length > 1 });
    if (possible.length === 1) this.onDone();
  }

  touchTenth(tenth) {
    this.onMark(Math.floor(this.tenths / 10) * 10 + tenth, { open: false });
    this.onDone();
  }
}
