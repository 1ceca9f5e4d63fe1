// What is asked for: mould, rubber, base, rules of the bench, time. Faults that the service finds stand beside the
// field that they are about.

import { SeamAreas } from "./areas.js";
import { BasePlace } from "./base.js";
import { choose, el } from "./dom.js";
import { Refusal } from "./wire.js";
import { RUBBERS } from "./words.js";

export const optional = (input) => (input.value.trim() === "" ? undefined : Number(input.value));

// One line to be filled in, with its words and the place for its fault. `path` is the field's path as the service names it.
export function line(path, words, properties, unit) {
  const id = path.replaceAll(/[^a-z]/g, "-");
  const input = el("input", { id, "aria-describedby": `${id}-fault`, data: { field: path }, ...properties });
  const fault = el("p", { class: "fault", id: `${id}-fault`, hidden: true });
  const figure = unit ? el("span", { class: "figure" }, input, el("span", { class: "unit" }, unit)) : input;
  const field = el("div", { class: "field" }, el("label", { for: id }, words), figure, fault);
  return { field, input, fault };
}

// A number with its unit.
export function number(path, words, unit, value, more) {
  const shown = { value: value ?? "", placeholder: more ?? "" };
  return line(path, words, { type: "number", step: "any", inputMode: "decimal", ...shown }, unit);
}

const UPS = [
  ["0,0,1", "z up (most files)"],
  ["0,1,0", "y up"],
  ["1,0,0", "x up"],
  ["0,0,-1", "z down"],
  ["0,-1,0", "y down"],
  ["-1,0,0", "x down"],
];
const TIMES = [
  ["60", "1 min"],
  ["300", "5 min"],
  ["900", "15 min"],
  ["3600", "1 h"],
];

export class RequestForm {
  // `defaults` is what holds where a request says nothing. The others hear of another up, of who wants to pick the
  // base, a place or an outline, and of places that have changed.
  constructor(defaults, { upChanged, pickBase, pickPlace, pickOutline, placesChanged }) {
    this.areas = new SeamAreas({ pick: pickPlace, outline: pickOutline, changed: placesChanged });
    this.up = { x: 0, y: 0, z: 1 };
    this.lowest = null;
    const { mould, knife, sheets, budget } = defaults;
    this.boxes = {
      side: number(
        "request.mould.box.side_clearance_mm",
        "Rubber beside the model, at least",
        "mm",
        mould.box?.sideClearanceMm ?? 15,
      ),
      top: number(
        "request.mould.box.top_clearance_mm",
        "Rubber above the model",
        "mm",
        mould.box?.topClearanceMm ?? 15,
      ),
      thickness: number(
        "request.mould.blanket.thickness_mm",
        "Thickness of the blanket",
        "mm",
        mould.blanket?.thicknessMm ?? 8,
      ),
      raised: number("request.gate.plane.point", "Open up to this height above the lowest point", "mm", 3),
      shore: number("request.rubber.shore_a", "Hardness", "Shore A", "", "as the kind"),
      stretch: number(
        "request.rubber.working_stretch",
        "Stretch allowed in use, 1 is twice as long",
        "",
        "",
        "as the kind",
      ),
      density: number("request.rubber.density_g_cm3", "Density", "g/cm³", "", "as the kind"),
      force: number("request.knife.hand_force_n", "Two hands pull", "N", knife.handForceN),
      hinge: number("request.knife.hinge_width_mm", "Least hinge", "mm", knife.hingeWidthMm),
      blade: number("request.sheets.blade_length_mm", "Length of the blade", "mm", sheets.bladeLengthMm),
      seconds: number("request.budget.time_limit_seconds", "Time", "s", budget.timeLimitSeconds),
    };
    this.shape = "box";
    this.base = "flat";
    const { side, top, thickness, raised, shore, stretch, density, force, hinge, blade, seconds } =
      this.boxes;
    this.upSelect = el(
      "select",
      { id: "up", on: { change: () => this.setUp(this.upSelect.value, upChanged) } },
      UPS.map(([value, words]) => el("option", { value }, words)),
    );
    this.rubber = el(
      "select",
      { id: "rubber", data: { field: "request.rubber.class" } },
      RUBBERS.map(([value, words]) =>
        el("option", { value, selected: value === "RUBBER_CLASS_MEDIUM_SILICONE" }, words),
      ),
    );
    const shaped = () => {
      side.field.hidden = top.field.hidden = this.shape === "blanket";
      thickness.field.hidden = this.shape !== "blanket";
      for (const [box, name] of [
        [side, "side_clearance_mm"],
        [top, "top_clearance_mm"],
      ]) {
        box.input.dataset.field = `request.mould.${this.shape}.${name}`;
      }
    };
    raised.field.hidden = true;
    this.basePlace = new BasePlace({
      pick: pickPlace,
      changed: placesChanged,
      radius: number("request.gate.patch.radius_mm", "All within", "mm", 10),
    });
    shaped();
    this.sections = [
      el(
        "section",
        { class: "card" },
        el("h2", {}, "How it stands"),
        el("div", { class: "field" }, el("label", { for: "up" }, "Which way is up"), this.upSelect),
        el(
          "button",
          { type: "button", on: { click: pickBase } },
          "Or click the face that stands on the board",
        ),
        choose(
          "Its base",
          "base",
          [
            ["flat", "Flat", "the mould is open there"],
            ["raised", "Round or uneven", "stands on feet, or on a curve"],
            ["place", "A place I pick", "a sprue, or one foot of several"],
          ],
          this.base,
          (value) => {
            this.base = value;
            raised.field.hidden = value !== "raised";
            this.basePlace.chosen = value === "place";
          },
        ),
        raised.field,
        this.basePlace.place,
        el("p", { class: "fault", data: { fault: "request.gate" }, hidden: true }),
      ),
      this.areas.section,
      el(
        "section",
        { class: "card" },
        el("h2", {}, "The mould"),
        choose(
          "Shape",
          "shape",
          [
            ["box", "Block in a box", "four walls"],
            ["cylinder", "Round block in a tube", "one round wall"],
            ["blanket", "Blanket in a shell", "even rubber, rigid shell"],
          ],
          this.shape,
          (value) => {
            this.shape = value;
            shaped();
          },
        ),
        side.field,
        top.field,
        thickness.field,
      ),
      el(
        "section",
        { class: "card" },
        el("h2", {}, "The rubber"),
        el("div", { class: "field" }, el("label", { for: "rubber" }, "Kind"), this.rubber),
        el(
          "details",
          {},
          el("summary", {}, "Figures on your own rubber's sheet"),
          shore.field,
          stretch.field,
          density.field,
        ),
        el("details", {}, el("summary", {}, "Hands and knife"), force.field, hinge.field, blade.field),
      ),
      el(
        "section",
        { class: "card" },
        el("h2", {}, "Time to look"),
        el(
          "p",
          {},
          "The plan gets better the longer it is worked on. Give minutes. You can stop it or give it more.",
        ),
        el(
          "div",
          { class: "row", role: "group", "aria-label": "Usual times" },
          TIMES.map(([value, words]) =>
            el(
              "button",
              {
                type: "button",
                on: {
                  click: () => {
                    seconds.input.value = value;
                  },
                },
              },
              words,
            ),
          ),
        ),
        seconds.field,
      ),
    ];
  }

  // For another model no place holds.
  clearPlaces() {
    this.areas.clear();
    this.basePlace.take(null);
  }

  // What is picked on the model, as the view shows it.
  drawPlaces(view) {
    this.areas.draw(view);
    this.basePlace.draw(view);
  }

  setUp(value, changed) {
    const [x, y, z] = value.split(",").map(Number);
    this.up = { x, y, z };
    changed?.();
  }

  // Up as picked on the model: not one of the list.
  takeUp(up) {
    this.up = up;
    const value = "picked";
    this.upSelect.querySelector(`[value=${value}]`)?.remove();
    this.upSelect.append(
      el("option", { value: `${up.x},${up.y},${up.z}`, selected: true }, "as picked on the model"),
    );
  }

  // The message, with what was typed. `lowest` is the height of the model's lowest point along up, mm.
  read(lowest) {
    const { side, top, thickness, raised, shore, stretch, density, force, hinge, blade, seconds } =
      this.boxes;
    // A browser hands out nothing at all for what is no number, and nothing would mean the default.
    const inputs = [...Object.values(this.boxes).map(({ input }) => input), ...this.areas.inputs, this.basePlace.radius];
    const bad = inputs.filter((input) => input.validity.badInput);
    if (bad.length > 0) {
      const fields = bad.map((input) => ({ field: input.dataset.field, description: "is no number" }));
      throw Object.assign(new Refusal(3, "A figure is no number."), { fields });
    }
    const clearances = { sideClearanceMm: optional(side.input), topClearanceMm: optional(top.input) };
    const mould = {
      box: { box: clearances },
      cylinder: { cylinder: clearances },
      blanket: { blanket: { thicknessMm: optional(thickness.input) } },
    }[this.shape];
    const { x, y, z } = this.up;
    const height = lowest + (optional(raised.input) ?? 0);
    const gate = {
      flat: { lowestFlat: { up: this.up } },
      raised: {
        plane: {
          point: { x: x * height, y: y * height, z: z * height },
          normal: { x: -x, y: -y, z: -z },
        },
      },
      place: this.basePlace.read(),
    }[this.base];
    return {
      mould,
      gate,
      areas: this.areas.read(),
      rubber: {
        class: this.rubber.value,
        shoreA: optional(shore.input),
        workingStretch: optional(stretch.input),
        densityGCm3: optional(density.input),
      },
      knife: { handForceN: optional(force.input), hingeWidthMm: optional(hinge.input) },
      sheets: { bladeLengthMm: optional(blade.input) },
      budget: { timeLimitSeconds: optional(seconds.input) },
    };
  }
}

// Where a fault stands whose field is no input: beside what holds most of the field's path.
function nearest(place, field) {
  const holding = [...place.querySelectorAll("[data-fault]")].filter((own) => field.startsWith(own.dataset.fault));
  return holding.toSorted((a, b) => b.dataset.fault.length - a.dataset.fault.length)[0];
}

// Shows faults beside their fields within `place`; what has no field of its own comes back as words.
export function showFaults(place, refusal) {
  for (const old of place.querySelectorAll(".fault")) old.hidden = true;
  for (const input of place.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  const rest = [];
  let first = null;
  for (const { field, description } of refusal.fields) {
    const input = place.querySelector(`[data-field="${CSS.escape(field)}"]`);
    const beside = input
      ? document.getElementById(input.getAttribute("aria-describedby"))
      : nearest(place, field);
    if (!beside) {
      rest.push(`${field}: ${description}`);
      continue;
    }
    const words = input || beside.dataset.own !== undefined ? `It ${description}.` : `${field} ${description}.`;
    beside.textContent = beside.dataset.words ?? words;
    beside.hidden = false;
    input?.setAttribute("aria-invalid", "true");
    // A fault in a closed part of the form is no use.
    for (let own = beside; own; own = own.parentElement) if (own.tagName === "DETAILS") own.open = true;
    first ??= input;
  }
  first?.focus();
  if (refusal.fields.length === 0) rest.push(refusal.message);
  return rest;
}
