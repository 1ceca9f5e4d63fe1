// Areas of the model with a say about seams: where none may be (a face, lettering), and where one is welcome. Each is
// all of the surface within a distance of a place, or within an outline, picked on the model.

import { button, choose, el, fill } from "./dom.js";
import { addLine, drawBall } from "./marks.js";
import { Outline } from "./outline.js";
import { three } from "./view3d.js";

const RADIUS = 8;
// What is wished for, the layer that it is shown on, its words, the tone of its area and of its line.
const WISHES = {
  keepOff: { layer: "areas", words: "no seam", tone: 0xd55e00, line: 0xa33f00 },
  preferred: { layer: "welcome", words: "seam welcome", tone: 0xf0e442, line: 0x6b6300 },
};

export class SeamAreas {
  // `pick` asks for a place on the model, `outline` for the corners of an outline, and hand them on; `changed` hears of
  // every change.
  constructor({ pick, outline, changed }) {
    this.areas = [];
    this.made = 0;
    this.changed = changed;
    this.wish = "keepOff";
    this.list = el("ul", { class: "plain" });
    this.section = el(
      "section",
      { class: "card" },
      el("h2", {}, "Where a seam may be"),
      choose(
        "What you mark",
        "wish",
        [
          ["keepOff", "No seam here", "a face, lettering: it is never cut"],
          ["preferred", "Seam welcome", "cuts count half there"],
        ],
        this.wish,
        (value) => {
          this.wish = value;
        },
      ),
      this.list,
      el(
        "div",
        { class: "row" },
        button("Mark a place on the model", () => pick((centre) => this.addPlace(centre))),
        button("Draw an outline on the model", () => outline((corners) => this.addOutline(corners))),
      ),
      el("p", { class: "fault", data: { fault: "request.areas" }, hidden: true }),
    );
  }

  clear() {
    this.areas = [];
    this.show();
  }

  addPlace(centre) {
    const id = this.newId();
    const radius = el("input", {
      id,
      type: "number",
      step: "any",
      min: "0",
      value: String(RADIUS),
      "aria-describedby": `${id}-fault`,
      on: { input: () => this.changed() },
    });
    this.areas.push({ id, wish: this.wish, centre, radius });
    this.show();
    radius.focus();
  }

  addOutline(corners) {
    this.areas.push({ id: this.newId(), wish: this.wish, corners });
    this.show();
    this.list.lastElementChild.querySelector("button").focus();
  }

  newId() {
    this.made += 1;
    return `area-${this.made}`;
  }

  show() {
    const counts = { keepOff: 0, preferred: 0 };
    fill(
      this.list,
      this.areas.map((area, index) => {
        // The path as the service names it.
        const own = counts[area.wish];
        counts[area.wish] += 1;
        const path =
          area.wish === "keepOff" ? `request.areas.keep_off[${own}]` : `request.areas.preferred[${own}].area`;
        return this.line(area, index, path);
      }),
    );
    this.changed();
  }

  line(area, index, path) {
    const name = `${index + 1}, ${WISHES[area.wish].words}`;
    let shape = el("span", {}, `Outline ${name}, ${area.corners?.length} corners`);
    const fault = el("p", { class: "fault", id: `${area.id}-fault`, hidden: true });
    if (area.radius) {
      area.radius.dataset.field = `${path}.ball.radius_mm`;
      shape = [
        el("label", { for: area.id }, `Place ${name}, all within`),
        el("span", { class: "figure" }, area.radius, el("span", { class: "unit" }, "mm")),
      ];
    } else Object.assign(fault.dataset, { fault: path, own: "" });
    const remove = button(
      "Remove",
      () => {
        this.areas.splice(this.areas.indexOf(area), 1);
        this.show();
      },
      { "aria-label": `Remove ${area.radius ? "place" : "outline"} ${name}` },
    );
    return el("li", {}, shape, remove, fault);
  }

  // Inputs whose figures are to be sound.
  get inputs() {
    return this.areas.map(({ radius }) => radius).filter(Boolean);
  }

  // Shapes of one wish as the protocol has them.
  shapes(wish) {
    const own = this.areas.filter((area) => area.wish === wish);
    return own.map(({ centre, radius, corners }) => {
      if (corners) return { polygon: { corners } };
      return { ball: { centre, radiusMm: radius.value.trim() === "" ? undefined : Number(radius.value) } };
    });
  }

  read() {
    if (this.areas.length === 0) return undefined;
    return {
      keepOff: this.shapes("keepOff"),
      preferred: this.shapes("preferred").map((area) => ({ area })),
    };
  }

  draw(view) {
    drawAreas(
      view,
      this.areas.map((area, index) => ({
        ...area,
        radiusMm: Number(area.radius?.value),
        number: index + 1,
      })),
    );
  }
}

// The areas of a request, numbered as `drawAreas` wants them.
export function areasOf(request) {
  const { keepOff = [], preferred = [] } = request?.areas ?? {};
  const all = [
    ...keepOff.map((area) => ["keepOff", area]),
    ...preferred.map(({ area }) => ["preferred", area]),
  ];
  return all.map(([wish, { ball, polygon }], index) => ({
    wish,
    number: index + 1,
    centre: ball?.centre,
    radiusMm: ball?.radiusMm,
    corners: polygon?.corners,
  }));
}

// Shows areas: places as balls in the model, which no cut enters where they meet its surface; outlines as the faces
// that they hold, and as lines.
export function drawAreas(view, areas) {
  for (const { layer } of Object.values(WISHES)) view.clear(layer);
  for (const { wish, number, centre, radiusMm, corners } of areas) {
    const { layer, words, tone, line } = WISHES[wish];
    const label = `${words} ${number}`;
    if (corners) {
      const outline = new Outline(corners);
      drawFaces(view, layer, outline, tone);
      for (const side of outline.sides(view)) {
        addLine(
          view,
          layer,
          side.map(({ x, y, z }) => new three.Vector3(x, y, z)),
          0.004 * view.radius,
          line,
        );
      }
      const middle = view.nearestAlong(outline.middle, outline.up, outline.wide) ?? outline.middle;
      view.addLabel(layer, middle, label, "width");
    } else {
      drawBall(view, layer, centre, radiusMm, tone);
      view.addLabel(layer, centre, label, "width");
    }
  }
}

function drawFaces(view, layer, outline, tone) {
  if (!view.solid) return;
  const geometry = new three.BufferGeometry();
  geometry.setAttribute("position", new three.BufferAttribute(outline.facesOf(view.solid.geometry), 3));
  // The model itself is drawn a bit further off.
  const faces = new three.Mesh(
    geometry,
    new three.MeshLambertMaterial({
      color: tone,
      transparent: true,
      opacity: 0.75,
      flatShading: true,
      depthWrite: false,
    }),
  );
  faces.renderOrder = 1;
  view.add(layer, faces);
}
