// A view in space with all that goes round it: sides to look from, what is shown, and a line that says what is
// seen.

import { button, el, fill } from "./dom.js";
import { SIDES, Turning } from "./turning.js";
import { View3D } from "./view3d.js";

export class Stage {
  constructor(place, { label, turning = new Turning(), small = false } = {}) {
    this.turning = turning;
    const viewport = el("div", { class: "viewport" });
    this.caption = el("p", { class: "caption", "aria-live": "off" });
    this.tools = el("div", { class: "tools" });
    this.more = el("div", { class: "more" });
    const sides = el(
      "div",
      { class: "sides", role: "group", "aria-label": "Look from" },
      SIDES.map(([, words, round, raised]) => button(words, () => turning.look(round, raised))),
      button("+", () => turning.nearer(1.25), { "aria-label": "nearer", class: "zoom" }),
      button("−", () => turning.nearer(0.8), { "aria-label": "farther", class: "zoom" }),
    );
    fill(place, viewport, small ? null : sides, this.more, this.tools);
    this.view = new View3D(viewport, turning, { label });
    viewport.append(this.caption);
    sides.hidden = !this.view.works;
    this.stopListening = turning.listen(() => this.tell());
    this.hidden = new Set();
  }

  close() {
    this.stopListening();
    this.view.close();
  }

  tell() {
    const square = this.view.square ? `board in squares of ${this.view.square} mm; ` : "";
    this.caption.textContent = this.view.works ? `${square}${this.turning.words()}` : "";
  }

  // What can be shown or left out: layer, words, and the class of its sample. It is the legend as well.
  legend(entries) {
    const there = entries.filter(([layer]) => this.view.has(layer));
    const boxes = there.map(([layer, words, sample]) => {
      const box = el("input", {
        type: "checkbox",
        checked: !this.hidden.has(layer),
        on: {
          change: () => {
            if (box.checked) this.hidden.delete(layer);
            else this.hidden.add(layer);
            this.view.show(layer, box.checked);
          },
        },
      });
      this.view.show(layer, box.checked);
      return el("label", {}, box, el("span", { class: `sample ${sample}`, "aria-hidden": "true" }), words);
    });
    fill(
      this.tools,
      boxes.length ? el("fieldset", { class: "legend" }, el("legend", {}, "Shown"), boxes) : null,
    );
    this.tell();
  }
}

// A slider with its words, from 0 to 1.
export function slider(words, value, changed, properties) {
  const input = el("input", {
    type: "range",
    min: "0",
    max: "1",
    step: "0.01",
    value: String(value),
    ...properties,
    on: { input: () => changed(Number(input.value)) },
  });
  return el("label", { class: "slider" }, words, input);
}
