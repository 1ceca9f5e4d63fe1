// An outline that somebody draws on the model, corner by corner: by clicks, or by Enter for the place under the cross.

import { button, el, fill, say } from "./dom.js";
import { drawSketch } from "./marks.js";
import { Outline } from "./outline.js";

const LAYER = "outlining";

export class Outlining {
  // `done` hears of the corners once the outline is closed. Ends by itself then, or when it is left.
  constructor(stage, done) {
    Object.assign(this, { stage, done });
    this.corners = [];
    this.normals = [];
    this.count = el("span", {});
    this.fault = el("p", { class: "fault", role: "alert", hidden: true });
    this.told = el(
      "div",
      { class: "outlining" },
      el(
        "p",
        {},
        "Click the corners round the area, one after the other, or turn each under the cross and press Enter. Between them the outline runs straight, as seen from in front of the area. ",
        this.count,
      ),
      el(
        "div",
        { class: "row" },
        button("Close the outline", () => this.close(), { id: "close-outline" }),
        button("Take back a corner", () => this.takeBack()),
        button("Leave it", () => this.end()),
      ),
      this.fault,
    );
    fill(stage.more, this.told);
    stage.view.setPick((hit) => this.add(hit));
    this.show();
    stage.view.canvas.focus();
  }

  add({ point: { x, y, z }, normal }) {
    this.corners.push({ x, y, z });
    this.normals.push(normal);
    this.tellFault("");
    this.show();
  }

  takeBack() {
    this.corners.pop();
    this.normals.pop();
    this.tellFault("");
    this.show();
  }

  get outline() {
    const toward = this.normals.reduce(
      (sum, normal) => ({ x: sum.x + normal.x, y: sum.y + normal.y, z: sum.z + normal.z }),
      { x: 0, y: 0, z: 0 },
    );
    return new Outline(this.corners, toward);
  }

  show() {
    const { view } = this.stage;
    const { length } = this.corners;
    const words = `${length} ${length === 1 ? "corner" : "corners"}.`;
    this.count.textContent = words;
    say(words);
    const sides = length > 1 ? this.outline.sides(view) : [];
    // The side back to the first corner is drawn once it is closed.
    const through = length > 1 ? sides.slice(0, -1).flat() : this.corners;
    drawSketch(view, [{ name: "1", points: this.corners, through }], 0, LAYER);
  }

  close() {
    if (this.corners.length < 3) {
      this.tellFault("An outline has three corners or more.");
      return;
    }
    const { outline } = this;
    if (outline.isEmpty) {
      this.tellFault("These corners lie in one line and enclose nothing: put one aside.");
      return;
    }
    const { corners } = this;
    this.end();
    this.done(corners);
  }

  tellFault(words) {
    this.fault.textContent = words;
    this.fault.hidden = !words;
  }

  end() {
    this.stage.view.setPick(null);
    this.stage.view.clear(LAYER);
    fill(this.stage.more);
  }
}
