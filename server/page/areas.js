// Places where no cut may run: a face, lettering, all that must not have a seam. Each is all of the surface within
// a distance of a point that is picked on the model. And the base opening, where it is told in the same way.

import { button, el, fill } from "./dom.js";
import { three } from "./view3d.js";

const RADIUS = 8;
const VERMILION = 0xd55e00;
const SKY = 0x56b4e9;

export class KeepOff {
  // `pick` asks for a place on the model and hands it on; `changed` hears of every change.
  constructor({ pick, changed }) {
    this.areas = [];
    this.changed = changed;
    this.list = el("ul", { class: "plain" });
    this.section = el(
      "section",
      { class: "card" },
      el("h2", {}, "Where no seam may be"),
      el("p", { class: "small" }, "Faces, lettering: what lies within such a place is never cut."),
      this.list,
      button("Mark a place on the model", () => pick((centre) => this.add(centre))),
      el("p", { class: "fault", data: { fault: "request.areas" }, hidden: true }),
    );
  }

  clear() {
    this.areas = [];
    this.show();
  }

  add(centre) {
    const number = this.areas.length + 1;
    const id = `keep-off-${number}-${Date.now()}`;
    const radius = el("input", {
      id,
      type: "number",
      step: "any",
      min: "0",
      value: String(RADIUS),
      "aria-describedby": `${id}-fault`,
      on: { input: () => this.changed() },
    });
    this.areas.push({ centre, radius });
    this.show();
    radius.focus();
  }

  show() {
    fill(
      this.list,
      this.areas.map((area, index) => {
        area.radius.dataset.field = `request.areas.keep_off[${index}].ball.radius_mm`;
        return el(
          "li",
          {},
          el("label", { for: area.radius.id }, `Place ${index + 1}, all within`),
          el("span", { class: "figure" }, area.radius, el("span", { class: "unit" }, "mm")),
          button(
            "Remove",
            () => {
              this.areas.splice(index, 1);
              this.show();
            },
            { "aria-label": `Remove place ${index + 1}` },
          ),
          el("p", { class: "fault", id: `${area.radius.id}-fault`, hidden: true }),
        );
      }),
    );
    this.changed();
  }

  // Inputs whose figures are to be sound.
  get inputs() {
    return this.areas.map(({ radius }) => radius);
  }

  read() {
    if (this.areas.length === 0) return undefined;
    return {
      keepOff: this.areas.map(({ centre, radius }) => ({
        ball: { centre, radiusMm: radius.value.trim() === "" ? undefined : Number(radius.value) },
      })),
    };
  }

  draw(view) {
    drawPlaces(
      view,
      this.areas.map(({ centre, radius }) => ({ centre, radiusMm: Number(radius.value) })),
    );
  }
}

// The base opening as a place that is picked, all of the surface within a distance of it.
export class BasePlace {
  // `pick` asks for a place on the model and hands it on; `changed` hears of every change.
  constructor({ pick, changed, radius }) {
    this.centre = null;
    this.radius = radius.input;
    this.changed = changed;
    this.radius.addEventListener("input", () => changed());
    this.said = el("p", { class: "small", role: "status" });
    this.place = el(
      "div",
      { hidden: true },
      button("Pick the base opening on the model", () => pick((centre) => this.take(centre))),
      this.said,
      radius.field,
    );
  }

  take(centre) {
    this.centre = centre;
    this.said.textContent = centre ? "Picked: it is shown in blue on the model." : "";
    this.changed();
  }

  // Shown, and meant, only where this is how the base is told.
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

function drawBall(view, layer, { x, y, z }, radius, tone) {
  if (!(radius > 0)) return;
  const ball = new three.Mesh(
    new three.SphereGeometry(radius, 28, 20).translate(x, y, z),
    new three.MeshLambertMaterial({ color: tone, transparent: true, opacity: 0.4, depthWrite: false }),
  );
  view.add(layer, ball);
}

// What is kept off, as balls in the model: where they meet its surface no cut runs.
export function drawPlaces(view, balls) {
  view.clear("areas");
  balls.forEach(({ centre, radiusMm }, index) => {
    drawBall(view, "areas", centre, radiusMm, VERMILION);
    view.addLabel("areas", centre, `no seam ${index + 1}`, "width");
  });
}
