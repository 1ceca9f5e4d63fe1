// Cuts that somebody draws on the model, point by point, to be judged by the same eyes as a plan.

import { button, el, fill, say } from "./dom.js";
import { getModel, getPlan, modelMesh, submitPlan } from "./service.js";
import { bridgeLetter, drawCuts, drawSketch } from "./marks.js";
import { surfaceOf } from "./model.js";
import { showFaults } from "./request.js";
import { upOf } from "./shown.js";
import { Refusal } from "./wire.js";
import { sentence } from "./words.js";

// Between two points the line follows what is seen: so many pixels a step, and no step longer than this share of
// the model's size, or the line would jump from one part of the model to another.
const STEP = 6;
const JUMP = 0.08;

const SECONDS = 60;

const plain = ({ x, y, z }) => ({ x, y, z });
const apart = (p, q) => Math.hypot(p.x - q.x, p.y - q.y, p.z - q.z);

class Drawing {
  constructor(frame, { model, request, bridges, cuts, up }) {
    Object.assign(this, { frame, model, request, bridges, cuts, up });
    this.ended = new AbortController();
    this.lines = [];
    this.across = new Set();
    this.chosen = -1;
    this.list = el("ol", { class: "lines" });
    this.fault = el("div", { role: "alert" });
  }

  async open() {
    this.frame.title("Cuts of your own");
    this.stage = this.frame.stage();
    const { view } = this.stage;
    fill(this.frame.body, el("p", { class: "busy", role: "status" }, "The model's surface is fetched ..."));
    const mesh = await modelMesh(this.model.name, surfaceOf(this.model), this.ended.signal);
    view.setModel(mesh);
    view.stand(this.up, [mesh]);
    if (this.cuts.length > 0) drawCuts(view, this.cuts);
    this.stage.legend([
      ["model", "model", "stone"],
      ["cuts", "cuts of the plan", "cut"],
      ["sketch", "cuts that you draw", "sketch"],
      ["board", "board", "board"],
    ]);
    view.setPick(({ point }) => this.add(plain(point)));
    this.seconds = el("input", {
      id: "seconds",
      type: "number",
      min: "1",
      step: "any",
      value: String(SECONDS),
      "aria-describedby": "seconds-fault",
      data: { field: "request.budget.time_limit_seconds" },
    });
    const boxes = this.bridges.map((_, index) => {
      const box = el("input", {
        type: "checkbox",
        on: {
          change: () => {
            if (box.checked) this.across.add(index);
            else this.across.delete(index);
          },
        },
      });
      return el(
        "label",
        { class: "choice" },
        box,
        el("span", {}, `Cut across bridge ${bridgeLetter(index)}`),
      );
    });
    fill(
      this.frame.body,
      el(
        "section",
        { class: "card" },
        el("h2", {}, "Draw"),
        el(
          "p",
          {},
          "Click points on the model, one after the other. The line between them follows what you see. Drag to turn the model; the line waits. Start at the board for a cut from the base opening.",
        ),
        el(
          "p",
          { class: "small" },
          "With keys: turn the model until the place is under the cross, and press Enter.",
        ),
        el(
          "div",
          { class: "row" },
          button("New line", () => this.begin(), { id: "new-line" }),
          button("Take back a point", () => this.takeBack()),
          button("Close the line", () => this.closeLine()),
        ),
        this.list,
      ),
      boxes.length > 0
        ? el(
            "section",
            { class: "card" },
            el("h2", {}, "Bridges"),
            el("fieldset", { class: "choices" }, el("legend", {}, "Rubber in holes of the model"), boxes),
          )
        : null,
      el(
        "section",
        { class: "card last" },
        el(
          "div",
          { class: "field" },
          el("label", { for: "seconds" }, "Time for the trial"),
          el("span", { class: "figure" }, this.seconds, el("span", { class: "unit" }, "s")),
          el("p", { class: "fault", id: "seconds-fault", hidden: true }),
        ),
        button("Judge these cuts", () => this.judge(), { class: "main", id: "judge" }),
        this.fault,
      ),
    );
    this.begin();
  }

  begin() {
    // An empty line waits already.
    const empty = this.lines.findIndex((line) => line.points.length === 0);
    if (empty >= 0) this.chosen = empty;
    else {
      this.count = (this.count ?? 0) + 1;
      this.lines.push({ name: String(this.count), points: [], through: [] });
      this.chosen = this.lines.length - 1;
    }
    this.show();
  }

  // The line from the last point to a new one, over what is seen between them.
  between(from, to) {
    const { view } = this.stage;
    const [a, b] = [view.spot(from), view.spot(to)];
    const count = Math.floor(Math.hypot(b[0] - a[0], b[1] - a[1]) / STEP);
    const all = [from];
    for (let k = 1; k < count; k += 1) {
      const share = k / count;
      const hit = view.at(a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]));
      if (!hit) return null;
      all.push(plain(hit.point));
    }
    all.push(to);
    const longest = JUMP * view.radius;
    const jumps = all.some((place, k) => k > 0 && apart(place, all[k - 1]) > longest);
    return jumps ? null : all.slice(1);
  }

  add(place) {
    const line = this.lines[this.chosen];
    this.tellFault("");
    const last = line.points.at(-1);
    if (last) {
      const way = this.between(last, place);
      if (!way) {
        this.tellFault(
          "From the last point to this one the line would leave the surface, or jump from one part to another. Turn the model so that both are seen, or put points nearer to each other.",
        );
        return;
      }
      line.points.push(place);
      line.pieces.push(way.length);
      line.through.push(...way);
    } else Object.assign(line, { points: [place], through: [place], pieces: [1] });
    say(`Line ${line.name} has ${line.points.length} ${line.points.length === 1 ? "point" : "points"}.`);
    this.show();
  }

  takeBack() {
    const line = this.lines[this.chosen];
    if (!line || line.points.length === 0) return;
    line.points.pop();
    line.through.length -= line.pieces.pop();
    line.closed = false;
    this.tellFault("");
    this.show();
  }

  closeLine() {
    const line = this.lines[this.chosen];
    if (!line || line.points.length < 3) {
      this.tellFault("A closed line has three points or more.");
      return;
    }
    this.add(line.points[0]);
    if (apart(line.points.at(-1), line.points[0]) === 0) line.closed = true;
    this.show();
  }

  tellFault(words) {
    fill(this.fault, words ? el("p", { class: "fault" }, words) : null);
  }

  length(line) {
    return line.through.reduce((sum, place, k) => sum + (k > 0 ? apart(place, line.through[k - 1]) : 0), 0);
  }

  show() {
    drawSketch(this.stage.view, this.lines, this.chosen);
    fill(
      this.list,
      this.lines.map((line, index) =>
        el(
          "li",
          { class: index === this.chosen ? "chosen" : "" },
          button(
            `Line ${line.name}`,
            () => {
              this.chosen = index;
              this.show();
            },
            { "aria-pressed": String(index === this.chosen), class: "link" },
          ),
          ` ${line.points.length} points, ${this.length(line).toFixed(0)} mm`,
          line.closed ? ", closed " : " ",
          button(
            "Remove",
            () => {
              this.lines.splice(index, 1);
              this.chosen = this.lines.length - 1;
              if (this.chosen < 0) this.begin();
              else this.show();
            },
            { "aria-label": `Remove line ${line.name}` },
          ),
          el("p", { class: "fault", data: { line: line.name }, hidden: true }),
        ),
      ),
    );
    this.stage.legend([
      ["model", "model", "stone"],
      ["cuts", "cuts of the plan", "cut"],
      ["sketch", "cuts that you draw", "sketch"],
      ["board", "board", "board"],
    ]);
  }

  async judge() {
    const drawn = this.lines.filter((line) => line.points.length > 0);
    const cuts = [
      ...drawn.map((line) => ({ name: line.name, line: { points: line.through } })),
      ...[...this.across].map((bridge) => ({ name: `bridge ${bridgeLetter(bridge)}`, bridge })),
    ];
    this.tellFault("");
    for (const old of this.list.querySelectorAll(".fault")) old.hidden = true;
    try {
      if (cuts.length === 0)
        throw new Refusal(3, "There is nothing to judge yet: draw a line, or choose a bridge.");
      const budget = { ...this.request.budget, timeLimitSeconds: Number(this.seconds.value) };
      const request = {
        ...this.request,
        budget,
        trial: { ...this.request.trial, mode: "TRIAL_MODE_JUDGE" },
        scheme: { cuts },
      };
      const job = await submitPlan({ model: this.model.name, request }, this.ended.signal);
      location.hash = `#/plan/${job.name.replace("plans/", "")}`;
    } catch (error) {
      if (error.name !== "AbortError") this.refused(error, drawn);
    }
  }

  // Faults of lines stand beside them, all others below the button.
  refused(error, drawn) {
    const others = [];
    for (const { field, description } of error.fields ?? []) {
      const line = drawn[Number(/cuts\[(\d+)\]/.exec(field)?.[1] ?? NaN)];
      const place = line && this.list.querySelector(`[data-line="${line.name}"]`);
      if (place) {
        place.textContent = sentence(description);
        place.hidden = false;
      } else others.push({ field, description });
    }
    const beside = error.fields?.length > 0 && others.length === 0;
    const rest = beside
      ? []
      : showFaults(this.seconds.closest(".card"), { fields: others, message: error.message });
    this.tellFault(rest.length > 0 ? rest.map(sentence).join(" ") : "This cannot be judged yet: see above.");
  }

  close() {
    this.stage?.view.setPick(null);
    this.ended.abort();
  }
}

export async function openDraw(frame, [id]) {
  let start;
  if (id) {
    const job = await getPlan({ name: `plans/${id}` });
    const { scheme, ...request } = job.request;
    start = {
      model: job.model,
      request,
      up: upOf(job),
      bridges: job.plan?.bridges ?? [],
      cuts: job.plan?.cuts ?? [],
    };
  } else {
    const kept = sessionStorage.getItem("drawing");
    if (!kept) throw new Refusal(9, "Choose a model first, on the page for a new plan.");
    const { model, request } = JSON.parse(kept);
    start = { model, request, up: upOf({ request }), bridges: [], cuts: [] };
  }
  const screen = new Drawing(frame, { ...start, model: await getModel({ name: start.model }) });
  await screen.open();
  return () => screen.close();
}
