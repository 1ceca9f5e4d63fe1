// The base opening as a place that is picked, all of the surface within a distance of it.

import { button, el } from "./dom.js";
import { drawBall } from "./marks.js";

const SKY = 0x56b4e9;

export class BasePlace {
  // `pick` asks for a place on the model and hands it on; `changed` hears of every change.
  constructor({ pick, changed, radius }) {
    this.centre = null;
    this.radius = radius.input;
    this.changed = changed;
    this.radius.addEventListener("input", () => changed());
    this.said = el("p", { class: "small", role: "status" });
    this.fault = el("p", {
      class: "fault",
      hidden: true,
      data: { fault: "request.gate.patch.centre", words: "No place is picked yet: pick one on the model." },
    });
    this.place = el(
      "div",
      { hidden: true },
      button("Pick the base opening on the model", () => pick((centre) => this.take(centre))),
      this.said,
      this.fault,
      radius.field,
    );
  }

  take(centre) {
    this.centre = centre;
    this.fault.hidden = true;
    this.said.textContent = centre ? "Picked: it is shown in blue on the model." : "";
    this.changed();
  }

  // Shown, and meant, only where this is how the base is given.
  set chosen(chosen) {
    this.place.hidden = !chosen;
    this.changed();
  }

  read() {
    const radiusMm = this.radius.value.trim() === "" ? undefined : Number(this.radius.value);
    return { patch: { centre: this.centre ?? undefined, radiusMm } };
  }

  draw(view) {
    view.clear("base");
    if (!this.centre || this.place.hidden) return;
    drawBall(view, "base", this.centre, Number(this.radius.value), SKY);
    view.addLabel("base", this.centre, "base opening", "width");
  }
}
