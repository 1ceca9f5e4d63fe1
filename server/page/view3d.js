// A view in space: a canvas, marks in words over it, and hands and keys that turn it. Places are in the model's
// own coordinates, mm; which way is up is asked of whoever shows something.

import * as three from "./vendor/three.module.min.js";
import { el } from "./dom.js";
import { Labels } from "./labels.js";

// Linear red, green and blue, as the program's own GLB files have them.
const STONE = [0.55, 0.57, 0.6];
// How long a pointer may wander and still be a click, px.
const STILL = 5;
const KEY_TURN = 15;
const KEY_MOVE = 0.08;
const KEY_NEARER = 1.25;
// Most triangles for which it is looked up whether the model hides a mark.
const LOOKED_UP = 400_000;

const vector = ({ x, y, z }) => new three.Vector3(x, y, z);

// Right, back and up, as the program's own pictures have them: the front is the model's -y side where that
// leaves up open.
export function frameOf(up) {
  const above = vector(up).normalize();
  const axis = Math.abs(above.x) < 0.9 ? new three.Vector3(1, 0, 0) : new three.Vector3(0, 1, 0);
  const right = axis.sub(above.clone().multiplyScalar(axis.dot(above))).normalize();
  return { right, back: above.clone().cross(right), up: above };
}

export function colour([r, g, b]) {
  return new three.Color().setRGB(r, g, b);
}

export function surface({ positions, faces }) {
  const geometry = new three.BufferGeometry();
  geometry.setAttribute("position", new three.BufferAttribute(positions, 3));
  if (faces) geometry.setIndex(new three.BufferAttribute(faces, 1));
  return geometry;
}

export class View3D {
  // `place` is the element that it fills.
  constructor(place, turning, { label }) {
    this.place = place;
    this.turning = turning;
    this.labels = new Labels();
    this.layers = new Map();
    this.scene = new three.Scene();
    this.camera = new three.OrthographicCamera();
    this.centre = new three.Vector3();
    this.radius = 50;
    this.frame = frameOf({ x: 0, y: 0, z: 1 });
    this.pick = null;
    this.canvas = el("canvas", {
      tabIndex: 0,
      role: "application",
      "aria-label": label,
      "aria-describedby": "keys",
    });
    this.cross = el("div", { class: "cross", hidden: true });
    try {
      this.renderer = new three.WebGLRenderer({ canvas: this.canvas, antialias: true, alpha: true });
    } catch {
      place.replaceChildren(
        el(
          "p",
          { class: "nothing" },
          "This browser cannot draw in space (WebGL is off). Words, figures and files are there all the same.",
        ),
      );
      return;
    }
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    place.replaceChildren(this.canvas, this.labels.place, this.cross);
    const sky = new three.HemisphereLight(0xffffff, 0x8a8378, 1.6);
    this.lamp = new three.DirectionalLight(0xffffff, 1.9);
    this.scene.add(sky, this.lamp, this.lamp.target);
    this.stopListening = turning.listen(() => this.draw());
    this.watcher = new ResizeObserver(() => this.draw());
    this.watcher.observe(place);
    this.hear();
  }

  get works() {
    return Boolean(this.renderer);
  }

  // Ends it and gives its memory back.
  close() {
    if (!this.works) return;
    this.stopListening();
    this.watcher.disconnect();
    this.clearAll();
    clearTimeout(this.later);
    this.renderer.dispose();
    this.renderer.forceContextLoss();
    this.renderer = null;
    this.place.replaceChildren();
  }

  // Takes a layer away, with its labels.
  clear(name) {
    const group = this.layers.get(name);
    group?.traverse((part) => {
      part.geometry?.dispose();
      part.material?.dispose();
    });
    if (group) this.scene.remove(group);
    this.layers.delete(name);
    this.labels.clear(name);
    if (name === "model") this.solid = null;
    this.draw();
  }

  // A layer may hold nothing but words.
  has(name) {
    return this.layers.has(name) || this.labels.has(name);
  }

  clearAll() {
    for (const name of [...this.layers.keys(), ...this.labels.layers]) this.clear(name);
  }

  // Puts something into a layer.
  add(name, ...parts) {
    if (!this.layers.has(name)) {
      const group = new three.Group();
      this.layers.set(name, group);
      this.scene.add(group);
    }
    this.layers.get(name).add(...parts);
    this.draw();
  }

  show(name, visible) {
    const group = this.layers.get(name);
    if (group) group.visible = visible;
    this.labels.show(name, visible);
    this.draw();
  }

  // Words at a place.
  addLabel(name, place, words, kind, title) {
    this.labels.add(name, vector(place), words, kind, title);
    this.draw();
  }

  // The model as a surface that can be picked.
  setModel(mesh) {
    this.clear("model");
    const geometry = surface(mesh);
    const material = new three.MeshLambertMaterial({
      color: colour(STONE),
      flatShading: true,
      side: three.DoubleSide,
      polygonOffset: true,
      polygonOffsetFactor: 1,
      polygonOffsetUnits: 1,
    });
    this.solid = new three.Mesh(geometry, material);
    this.add("model", this.solid);
  }

  // Puts all of it into the middle: `around` are surfaces, mm, the first of which stands on the board; `right` may
  // turn the frame.
  stand(up, around, right) {
    this.frame = frameOf(up);
    if (right) {
      this.frame.right = vector(right).normalize();
      this.frame.back = this.frame.up.clone().cross(this.frame.right);
    }
    const box = new three.Box3();
    let low = Infinity;
    const point = new three.Vector3();
    around.forEach(({ positions }, index) => {
      for (let at = 0; at < positions.length; at += 3) {
        point.fromArray(positions, at);
        box.expandByPoint(point);
        if (index === 0) low = Math.min(low, point.dot(this.frame.up));
      }
    });
    if (box.isEmpty()) return;
    const whole = box.getBoundingSphere(new three.Sphere());
    [this.centre, this.radius] = [whole.center, whole.radius];
    this.setBoard(low);
  }

  // Looks along a direction that points at whoever looks.
  face(direction) {
    const { right, back, up } = this.frame;
    const toward = vector(direction).normalize();
    const round = three.MathUtils.radToDeg(Math.atan2(toward.dot(right), -toward.dot(back)));
    const raised = three.MathUtils.radToDeg(Math.asin(Math.max(-1, Math.min(1, toward.dot(up)))));
    this.turning.look((Math.round(round) + 360) % 360, Math.round(raised));
  }

  // The board under it, in squares.
  setBoard(height) {
    this.clear("board");
    const { right, back, up } = this.frame;
    this.square = [1, 2, 5, 10, 20, 50, 100, 200, 500].find((size) => this.radius / size < 13) ?? 1000;
    const count = Math.ceil((1.15 * this.radius) / this.square);
    const foot = this.centre.clone().addScaledVector(up, height - this.centre.dot(up) - 0.002 * this.radius);
    const points = [];
    const reach = count * this.square;
    for (let k = -count; k <= count; k += 1) {
      for (const [along, across] of [
        [right, back],
        [back, right],
      ]) {
        for (const end of [-reach, reach]) {
          points.push(
            foot
              .clone()
              .addScaledVector(across, k * this.square)
              .addScaledVector(along, end),
          );
        }
      }
    }
    const lines = new three.LineSegments(
      new three.BufferGeometry().setFromPoints(points),
      new three.LineBasicMaterial({ color: 0xb9b2a6, transparent: true, opacity: 0.7 }),
    );
    this.add("board", lines);
  }

  // Draws once, soon.
  draw() {
    if (this.waiting || !this.works) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      this.drawNow();
    });
  }

  drawNow() {
    const { clientWidth: width, clientHeight: height } = this.place;
    if (!this.works || width === 0 || height === 0) return;
    const { right, back, up } = this.frame;
    const { round, raised, zoom, shift } = this.turning;
    const [a, b] = [round, raised].map(three.MathUtils.degToRad);
    const across = right.clone().multiplyScalar(Math.cos(a)).addScaledVector(back, Math.sin(a));
    const level = right.clone().multiplyScalar(Math.sin(a)).addScaledVector(back, -Math.cos(a));
    const toward = level.clone().multiplyScalar(Math.cos(b)).addScaledVector(up, Math.sin(b));
    const over = up.clone().multiplyScalar(Math.cos(b)).addScaledVector(level, -Math.sin(b));
    const half = (1.03 * this.radius * Math.max(1, height / width)) / zoom;
    const aspect = width / height;
    const size = 2.06 * this.radius;
    const middle = this.centre
      .clone()
      .addScaledVector(across, -shift[0] * size)
      .addScaledVector(over, -shift[1] * size);
    Object.assign(this.camera, {
      left: -half * aspect,
      right: half * aspect,
      top: half,
      bottom: -half,
      near: 0,
      far: 20 * this.radius,
    });
    this.camera.position.copy(middle).addScaledVector(toward, 10 * this.radius);
    this.camera.quaternion.setFromRotationMatrix(new three.Matrix4().makeBasis(across, over, toward));
    this.camera.updateProjectionMatrix();
    this.camera.updateMatrixWorld();
    this.lamp.position
      .copy(middle)
      .addScaledVector(toward, 10 * this.radius)
      .addScaledVector(over, 6 * this.radius)
      .addScaledVector(across, -5 * this.radius);
    this.lamp.target.position.copy(middle);
    this.renderer.setSize(width, height, false);
    this.renderer.render(this.scene, this.camera);
    this.perPixel = (2 * half) / height;
    this.placeLabels(width, height);
  }

  // What the model hides is looked up once the view rests.
  placeLabels(width, height) {
    this.labels.arrange((place) => this.spot(place), width, height);
    clearTimeout(this.later);
    this.later = setTimeout(() => this.lookBehind(), 150);
  }

  lookBehind() {
    const solid = this.solid;
    if (!this.works || !solid || !this.layers.get("model")?.visible) {
      this.labels.dash(() => false);
      return;
    }
    if ((solid.geometry.index?.count ?? 0) / 3 > LOOKED_UP) return;
    const toward = new three.Vector3(0, 0, 1).applyQuaternion(this.camera.quaternion);
    const ray = new three.Raycaster();
    this.labels.dash((place) => {
      ray.set(place.clone().addScaledVector(toward, 0.02 * this.radius), toward);
      return ray.intersectObject(solid).length > 0;
    });
  }

  // The place on the model under a spot of the view, px, or null. `normal` looks outward.
  at(x, y) {
    if (!this.works || !this.solid) return null;
    // Whoever turns it and picks at once means what the turned view shows.
    if (this.waiting) {
      cancelAnimationFrame(this.waiting);
      this.waiting = 0;
      this.drawNow();
    }
    const { clientWidth: width, clientHeight: height } = this.place;
    const ray = new three.Raycaster();
    ray.setFromCamera(new three.Vector2((2 * x) / width - 1, 1 - (2 * y) / height), this.camera);
    const [hit] = ray.intersectObject(this.solid);
    return hit ? { point: hit.point, normal: hit.face.normal } : null;
  }

  // The place on the model nearest to `place` on a line through it along `direction`, no further off than `reach` mm;
  // null where there is none.
  nearestAlong(place, direction, reach) {
    if (!this.works || !this.solid) return null;
    const from = vector(place).addScaledVector(direction, reach);
    const ray = new three.Raycaster(from, direction.clone().negate(), 0, 2 * reach);
    const off = (hit) => Math.abs(hit.distance - reach);
    const hits = ray.intersectObject(this.solid);
    return hits.length > 0 ? hits.reduce((best, hit) => (off(hit) < off(best) ? hit : best)).point : null;
  }

  // Where a place lands on the view, px.
  spot(place) {
    const { clientWidth: width, clientHeight: height } = this.place;
    const at = vector(place).project(this.camera);
    return [(0.5 + at.x / 2) * width, (0.5 - at.y / 2) * height];
  }

  // From now on clicks, and Enter for the place under the cross, are told to `pick`; null ends that.
  setPick(pick) {
    this.pick = pick;
    this.place.classList.toggle("picking", Boolean(pick));
    this.cross.hidden = !pick;
  }

  picked(x, y) {
    const hit = this.at(x, y);
    if (hit) this.pick(hit);
  }

  hear() {
    const { canvas, turning } = this;
    const fingers = new Map();
    let travelled = 0;
    const spread = () => {
      const [p, q] = [...fingers.values()];
      return Math.hypot(p.x - q.x, p.y - q.y);
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, { x: event.offsetX, y: event.offsetY });
      travelled = fingers.size > 1 ? Infinity : 0;
    });
    canvas.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const [dx, dy] = [event.offsetX - before.x, event.offsetY - before.y];
      const apart = fingers.size === 2 ? spread() : 0;
      fingers.set(event.pointerId, { x: event.offsetX, y: event.offsetY });
      travelled += Math.hypot(dx, dy);
      if (travelled < STILL) return;
      const height = this.place.clientHeight;
      if (fingers.size === 2) {
        if (apart > 0) turning.nearer(spread() / apart);
        turning.move(dx / 2 / height, -dy / 2 / height);
      } else if (event.shiftKey || event.buttons & 6) turning.move(dx / height, -dy / height);
      else turning.turn(-dx * 0.4, dy * 0.4);
    });
    const lift = (event) => {
      const was = fingers.delete(event.pointerId);
      if (was && event.type === "pointerup" && travelled < STILL && this.pick) {
        this.picked(event.offsetX, event.offsetY);
      }
    };
    canvas.addEventListener("pointerup", lift);
    canvas.addEventListener("pointercancel", lift);
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        turning.nearer(Math.exp(-event.deltaY * 0.0012));
      },
      { passive: false },
    );
    canvas.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const { turning } = this;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
    const arrow = arrows[event.key];
    if (arrow && event.shiftKey) turning.move(-KEY_MOVE * arrow[0], -KEY_MOVE * arrow[1]);
    else if (arrow) turning.turn(KEY_TURN * arrow[0], KEY_TURN * arrow[1]);
    else if (event.key === "+" || event.key === "=") turning.nearer(KEY_NEARER);
    else if (event.key === "-") turning.nearer(1 / KEY_NEARER);
    else if (event.key === "Home" || event.key === "0") turning.home();
    else if ((event.key === "Enter" || event.key === " ") && this.pick) {
      this.picked(this.place.clientWidth / 2, this.place.clientHeight / 2);
    } else return;
    event.preventDefault();
  }
}

export { three };
