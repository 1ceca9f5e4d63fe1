// The way out of the mould by the release trial: the rubber, moment by moment, in bands of stretch.

import { button, el, fill, say } from "./dom.js";
import { readScene } from "./glb.js";
import { planFile } from "./service.js";
import { slider } from "./stage.js";
import { surface, three } from "./view3d.js";
import { percent } from "./words.js";

// Bands from hardly stretched to most, the tones of the program's own pictures.
const BANDS = [
  [255, 244, 214],
  [250, 202, 122],
  [238, 158, 72],
  [208, 108, 42],
  [158, 62, 30],
  [84, 22, 22],
];
const STEPS = [0.01, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.5, 1, 2];

// The greatest stretch of each triangle, as new over old length: the greater singular value of what takes the
// triangle at rest to the one now.
export function stretches(rest, now, faces) {
  const all = new Float32Array(faces.length / 3);
  const at = (positions, v) => [positions[3 * v], positions[3 * v + 1], positions[3 * v + 2]];
  const less = (p, q) => [p[0] - q[0], p[1] - q[1], p[2] - q[2]];
  const dot = (p, q) => p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
  for (let k = 0; k < all.length; k += 1) {
    const [a, b, c] = faces.subarray(3 * k, 3 * k + 3);
    const edges = (positions) => {
      const from = at(positions, a);
      return [less(at(positions, b), from), less(at(positions, c), from)];
    };
    // Edges at rest in their own plane: (l, 0) and (p, h).
    const [u, v] = edges(rest);
    const l = Math.sqrt(dot(u, u));
    const p = dot(u, v) / l;
    const h = Math.sqrt(Math.max(0, dot(v, v) - p * p));
    // A sliver has no plane to measure in.
    if (!(h > 1e-6 * l)) {
      all[k] = 1;
      continue;
    }
    const [s, t] = edges(now);
    // The right Cauchy-Green tensor in that plane, and its greater eigenvalue.
    const [ss, st, tt] = [dot(s, s), dot(s, t), dot(t, t)];
    const xx = ss / (l * l);
    const xy = (st / l - (p * ss) / (l * l)) / h;
    const yy = (tt - (2 * p * st) / l + (p * p * ss) / (l * l)) / (h * h);
    const mean = (xx + yy) / 2;
    all[k] = Math.sqrt(mean + Math.hypot((xx - yy) / 2, xy));
  }
  return all;
}

function linear(byte) {
  const share = byte / 255;
  return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
}

export class WayOut {
  // `right` is the direction, in the mould's frame, that the plan's view has to the right; null where that is not
  // known.
  constructor(stage, { plan, right, signal }) {
    Object.assign(this, { stage, plan, right, signal });
    this.place = el("div", { class: "way-out" });
    this.time = 0;
    this.shown = 0.8;
  }

  async load() {
    const { blob } = await planFile(`${this.plan}/files/way-out.glb`, { signal: this.signal });
    const parts = readScene(await blob.arrayBuffer());
    this.model = parts.find((part) => part.name === "model");
    this.rubber = parts.find((part) => part.name === "rubber");
    if (!this.model || !this.rubber) throw new Error("the scene has no rubber or no model");
  }

  show() {
    const { stage, rubber } = this;
    stage.view.clearAll();
    stage.view.setModel(this.model);
    const last = rubber.targets.length;
    // All of the way is in sight.
    const along = [0, Math.ceil(last / 2), last].map((time) => ({ positions: this.at(time) }));
    stage.view.stand({ x: 0, y: 0, z: 1 }, [this.model, ...along], this.right);
    // Each corner of each triangle by itself, so that a band has a sharp edge.
    this.corners = new Float32Array(3 * rubber.faces.length);
    this.colours = new Float32Array(3 * rubber.faces.length);
    const geometry = surface({ positions: this.corners });
    geometry.setAttribute("color", new three.BufferAttribute(this.colours, 3));
    const material = new three.MeshLambertMaterial({
      vertexColors: true,
      transparent: true,
      opacity: this.shown,
      side: three.DoubleSide,
      flatShading: true,
    });
    this.skin = new three.Mesh(geometry, material);
    // The nearest skin only is seen through, not each of those behind it.
    const depth = new three.Mesh(
      geometry,
      new three.MeshBasicMaterial({
        colorWrite: false,
        side: three.DoubleSide,
        transparent: true,
      }),
    );
    for (const part of [depth, this.skin]) part.frustumCulled = false;
    [depth.renderOrder, this.skin.renderOrder] = [3, 4];
    stage.view.add("rubber", depth, this.skin);
    const greatest =
      Math.max(
        ...rubber.targets.map((_, k) =>
          stretches(rubber.positions, this.at(k + 1), rubber.faces).reduce(
            (most, own) => Math.max(most, own),
            1,
          ),
        ),
        1,
      ) - 1;
    this.step = STEPS.find((step) => step >= greatest / BANDS.length) ?? greatest / BANDS.length;
    const input = el("input", {
      type: "range",
      id: "moment",
      min: "0",
      max: String(last),
      step: "0.05",
      value: String(this.time),
      on: { input: () => this.move(Number(input.value)) },
    });
    this.input = input;
    this.told = el("p", { class: "small" });
    const key = BANDS.map((band, k) => {
      const swatch = el("span", { class: "sample", "aria-hidden": "true" });
      swatch.style.background = `rgb(${band})`;
      const words =
        k === 0
          ? `under ${percent(this.step)}`
          : k === BANDS.length - 1
            ? `over ${percent(k * this.step)}`
            : `${percent(k * this.step)} to ${percent((k + 1) * this.step)}`;
      return el("li", {}, swatch, words);
    });
    fill(
      this.place,
      last > 0
        ? el(
            "div",
            { class: "row" },
            el("label", { for: "moment" }, "Way out"),
            input,
            button("Play", () => this.play()),
          )
        : el("p", { class: "small" }, "The trial ended before the rubber moved."),
      this.told,
      slider("Rubber", this.shown, (shown) => {
        this.shown = shown;
        material.opacity = shown;

        stage.view.draw();
      }),
      el("p", { class: "small" }, "Stretch of the rubber's skin:"),
      el("ul", { class: "bands" }, key),
      this.right
        ? null
        : el(
            "p",
            { class: "small" },
            "Seen in the mould's own frame: it may be turned about its upright against the plan.",
          ),
    );
    this.move(this.time);
  }

  // Places of the rubber's corners at a moment; moments between two are in between.
  at(time) {
    const { positions, targets } = this.rubber;
    const before = Math.min(Math.floor(time), targets.length);
    const share = time - before;
    const from = targets[before - 1];
    const to = targets[Math.min(before, targets.length - 1)];
    const now = Float32Array.from(positions);
    for (let k = 0; k < now.length; k += 1) {
      const a = from?.[k] ?? 0;
      now[k] += share > 0 && to ? a + share * (to[k] - a) : a;
    }
    return now;
  }

  move(time) {
    this.time = time;
    const { rubber } = this;
    const now = this.at(time);
    const all = stretches(rubber.positions, now, rubber.faces);
    let most = 1;
    rubber.faces.forEach((v, k) => {
      this.corners.set(now.subarray(3 * v, 3 * v + 3), 3 * k);
      const own = all[Math.floor(k / 3)];
      most = Math.max(most, own);
      const band = Math.max(0, Math.min(BANDS.length - 1, Math.floor((own - 1) / this.step)));
      this.colours.set(BANDS[band].map(linear), 3 * k);
    });
    const { attributes } = this.skin.geometry;
    attributes.position.needsUpdate = true;
    attributes.color.needsUpdate = true;
    const last = rubber.targets.length;
    this.told.textContent = `Moment ${time.toFixed(0)} of ${last}; the skin is stretched by ${percent(most - 1)} at most`;
    this.input.setAttribute("aria-valuetext", `moment ${time.toFixed(0)} of ${last}`);
    this.stage.view.draw();
  }

  // From the beginning to the end in six seconds; again to stop.
  play() {
    if (this.playing) {
      clearInterval(this.playing);
      this.playing = null;
      return;
    }
    const last = this.rubber.targets.length;
    let time = this.time >= last ? 0 : this.time;
    say("The way out is played.");
    this.playing = setInterval(() => {
      time = Math.min(last, time + last / 60);
      this.input.value = String(time);
      this.move(time);
      if (time >= last || !this.place.isConnected) this.play();
    }, 100);
  }

  close() {
    if (this.playing) this.play();
  }
}
