// What may be repaired of a scan: the answers to what a refusal asks for.

import { el } from "./dom.js";
import { number, optional } from "./request.js";

export class Mending {
  constructor() {
    this.holes = number("header.options.largest_hole_mm", "Fill holes up to this far across", "mm", "", "5 %");
    this.off = number("header.options.rebuild_deviation_mm", "A repaired surface may be off by", "mm", "", "0.3 %");
    const id = "header-options-bodies";
    this.bodies = el("input", {
      id,
      type: "text",
      inputMode: "numeric",
      placeholder: "the one that holds most",
      "aria-describedby": `${id}-fault`,
      data: { field: "header.options.bodies" },
    });
    this.fault = el("p", { class: "fault", id: `${id}-fault`, hidden: true });
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
        el(
          "div",
          { class: "field" },
          el("label", { for: id }, "Numbers of the bodies that are the model"),
          this.bodies,
          this.fault,
        ),
      ),
    );
  }

  // A refusal asks for something that is given here.
  show() {
    this.box.open = true;
  }

  // As the service reads them; null where a number of a body is none.
  options() {
    const bodies = this.bodies.value.split(/[\s,]+/).filter((own) => own !== "");
    const fault = bodies.every((own) => /^[1-9][0-9]{0,8}$/.test(own))
      ? ""
      : "Give whole numbers from 1, as 1, 3.";
    this.fault.textContent = fault;
    this.fault.hidden = fault === "";
    if (fault) {
      this.show();
      this.bodies.focus();
      return null;
    }
    return {
      largestHoleMm: optional(this.holes.input),
      rebuildDeviationMm: optional(this.off.input),
      bodies: bodies.map(Number),
    };
  }
}
