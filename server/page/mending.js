// What may be repaired of a scan: the answers to what a refusal asks for.

import { el } from "./dom.js";
import { line, number, optional } from "./request.js";

export class Mending {
  constructor() {
    this.holes = number("header.options.largest_hole_mm", "Fill holes up to this far across", "mm", "", "5 %");
    this.off = number("header.options.rebuild_deviation_mm", "A repaired surface may be off by", "mm", "", "0.3 %");
    this.bodies = line("header.options.bodies", "Numbers of the bodies that are the model", {
      type: "text",
      inputMode: "numeric",
      placeholder: "the one that holds most",
    });
    this.box = el(
      "details",
      {},
      el("summary", {}, "What may be repaired"),
      el(
        "div",
        { class: "mending" },
        el("p", { class: "small" }, "Where nothing is given the % are of the longest side."),
        this.holes.field,
        this.off.field,
        this.bodies.field,
      ),
    );
  }

  // A refusal asks for something that is given here.
  show() {
    this.box.open = true;
  }

  // As the service reads them; null where a number of a body is none.
  options() {
    const { input, fault } = this.bodies;
    const bodies = input.value.split(/[\s,]+/).filter((own) => own !== "");
    fault.textContent = "Give whole numbers from 1, as 1, 3.";
    fault.hidden = bodies.every((own) => /^[1-9][0-9]{0,8}$/.test(own));
    if (!fault.hidden) {
      this.show();
      input.focus();
      return null;
    }
    return {
      largestHoleMm: optional(this.holes.input),
      rebuildDeviationMm: optional(this.off.input),
      bodies: bodies.map(Number),
    };
  }
}
