// The marks of a plan in space: cuts, sheets, bridges, hinges, thin lips, gate, faults of a scheme. Kinds are told
// apart by shape and by number, not by colour alone.

import { colour, surface, three } from "./view3d.js";
import { mm } from "./words.js";

// Tones of the program's own pictures, and colours of its GLB files; the rest from a palette that people of all
// kinds of sight tell apart (Okabe & Ito 2008, "Color Universal Design").
export const TONES = {
  CUT_KIND_FROM_GATE: 0x0f0f14,
  CUT_KIND_SEPARATE: 0x142869,
  CUT_KIND_BRIDGE: 0x730f19,
  CUT_KIND_BEHIND_HINGE: 0x0a5046,
};
const SHEET = [0.85, 0.45, 0.1];
const SKIN = [0.95, 0.85, 0.6];
const GREEN = 0x009e73;
const SKY = 0x56b4e9;
const PURPLE = 0xcc79a7;
const VERMILION = 0xd55e00;
// Radius of a cut's line as a share of the model's size.
const WIDTHS = {
  CUT_KIND_FROM_GATE: 0.0085,
  CUT_KIND_SEPARATE: 0.006,
  CUT_KIND_BRIDGE: 0.0085,
  CUT_KIND_BEHIND_HINGE: 0.006,
};
// Kinds of cut that are led from within.
const WITHIN = ["CUT_KIND_BRIDGE", "CUT_KIND_BEHIND_HINGE"];

const point = ({ x, y, z }) => new three.Vector3(x, y, z);

// A letter for a bridge: A, B ... Z, AA, as everywhere.
export function bridgeLetter(index) {
  let [letters, rest] = ["", index];
  do {
    letters = String.fromCharCode(65 + (rest % 26)) + letters;
    rest = Math.floor(rest / 26) - 1;
  } while (rest >= 0);
  return letters;
}

// A round line through points.
function tube(points, radius) {
  const path = new three.CurvePath();
  for (let k = 1; k < points.length; k += 1) {
    if (points[k].distanceToSquared(points[k - 1]) > 1e-10)
      path.add(new three.LineCurve3(points[k - 1], points[k]));
  }
  if (path.curves.length === 0) return new three.SphereGeometry(radius, 10, 8).translate(...points[0]);
  const pieces = Math.min(600, Math.max(4, Math.ceil(path.getLength() / radius)));
  return new three.TubeGeometry(path, pieces, radius, 7, false);
}

// Balls along a line, so near each other that they read as one.
function beads(points, radius) {
  const path = new three.CurvePath();
  for (let k = 1; k < points.length; k += 1) path.add(new three.LineCurve3(points[k - 1], points[k]));
  const count = Math.max(2, Math.round(path.getLength() / (3.2 * radius)));
  return path.getSpacedPoints(count);
}

function beaded(points, radius, material) {
  const places = points.length > 1 ? beads(points, radius) : points;
  const all = new three.InstancedMesh(
    new three.SphereGeometry(1.25 * radius, 10, 8),
    material,
    places.length,
  );
  places.forEach((place, k) => all.setMatrixAt(k, new three.Matrix4().makeTranslation(place)));
  return all;
}

// What is seen as it is, and what lies behind something faintly.
function materials(tone) {
  return [
    new three.MeshBasicMaterial({ color: tone }),
    new three.MeshBasicMaterial({
      color: tone,
      transparent: true,
      opacity: 0.25,
      depthFunc: three.GreaterDepth,
      depthWrite: false,
    }),
  ];
}

export function addLine(view, layer, points, radius, tone, shape) {
  for (const material of materials(tone)) {
    const part =
      shape === "beads" ? beaded(points, radius, material) : new three.Mesh(tube(points, radius), material);
    part.renderOrder = 2;
    view.add(layer, part);
  }
}

function addBall(view, layer, place, radius, tone) {
  for (const material of materials(tone)) {
    const part = new three.Mesh(new three.SphereGeometry(radius, 14, 10).translate(...place), material);
    part.renderOrder = 2;
    view.add(layer, part);
  }
}

// All within a distance of a place, as a ball that is seen through.
export function drawBall(view, layer, { x, y, z }, radius, tone) {
  if (!(radius > 0)) return;
  const ball = new three.Mesh(
    new three.SphereGeometry(radius, 28, 20).translate(x, y, z),
    new three.MeshLambertMaterial({ color: tone, transparent: true, opacity: 0.4, depthWrite: false }),
  );
  view.add(layer, ball);
}

export function drawCuts(view, cuts) {
  for (const cut of cuts) {
    const radius = WIDTHS[cut.kind] * view.radius;
    const tone = TONES[cut.kind];
    for (const branch of cut.branches) {
      const points = branch.points.map(point);
      if (points.length === 0) continue;
      addLine(view, "cuts", points, radius, tone, WITHIN.includes(cut.kind) ? "beads" : "tube");
      if (cut.kind === "CUT_KIND_SEPARATE") {
        for (const end of [points[0], points.at(-1)]) addBall(view, "cuts", end, 2 * radius, tone);
      }
    }
    const start = cut.branches[0]?.points[0];
    if (start) view.addLabel("cuts", start, String(cut.order), "number", `cut ${cut.order}`);
  }
}

function drawSheets(view, cuts) {
  for (const sheet of cuts.flatMap((cut) => cut.sheets)) {
    if (sheet.mesh?.triangles.length) {
      const positions = Float32Array.from(sheet.mesh.vertices.flatMap(({ x, y, z }) => [x, y, z]));
      const faces = Uint32Array.from(sheet.mesh.triangles.flatMap(({ a, b, c }) => [a, b, c]));
      const material = new three.MeshLambertMaterial({
        color: colour(SHEET),
        transparent: true,
        opacity: 0.45,
        side: three.DoubleSide,
        depthWrite: false,
        flatShading: true,
      });
      const part = new three.Mesh(surface({ positions, faces }), material);
      part.renderOrder = 3;
      view.add("sheets", part);
    }
    const outer = sheet.outer?.points.map(point) ?? [];
    if (outer.length > 1) addLine(view, "sheets", outer, 0.004 * view.radius, 0x9c4f0a);
  }
}

// Whether the knife would run along the model's surface or behind it.
export function isBehind({ flags, angleFromNormalDegrees, wedgeLeftDegrees, wedgeRightDegrees }) {
  if (flags.includes("STATION_FLAG_BLOCKED")) return false;
  return angleFromNormalDegrees >= 90 || Math.min(wedgeLeftDegrees, wedgeRightDegrees) <= 0;
}

// How weak the rubber is beside a station, by the angles of the request; null where it is well.
export function weakness(station, rules) {
  if (station.flags.includes("STATION_FLAG_BLOCKED")) return "blocked";
  if (station.flags.includes("STATION_FLAG_FEATHER_EDGE")) return "feather";
  const least = Math.min(station.wedgeLeftDegrees, station.wedgeRightDegrees);
  return least < (rules?.acceptableAngleDegrees ?? 45) - 1e-6 ? "thin" : null;
}

function drawLips(view, cuts, rules) {
  for (const { stations } of cuts.flatMap((cut) => cut.sheets)) {
    stations.forEach((station, k) => {
      const weak = weakness(station, rules);
      if (!weak || !station.onModel) return;
      const own = point(station.onModel);
      const half = (other) => own.clone().lerp(point(other.onModel), 0.5);
      const [before, after] = [stations[k - 1], stations[k + 1]].map(
        (other) => other?.onModel && half(other),
      );
      const line = [before, own, after].filter(Boolean);
      const radius = (weak === "thin" ? 0.012 : 0.018) * view.radius;
      addLine(
        view,
        "lips",
        line,
        radius,
        weak === "thin" ? PURPLE : VERMILION,
        weak === "thin" ? "tube" : "beads",
      );
    });
  }
}

function drawBridges(view, plan) {
  plan.bridges.forEach((bridge, index) => {
    const letter = bridgeLetter(index);
    if (bridge.centre) view.addLabel("bridges", bridge.centre, letter, "letter", `bridge ${letter}`);
    const cut = plan.cuts.some((own) => own.kind === "CUT_KIND_BRIDGE" && own.cutsBridge?.bridge === index);
    const rim = bridge.rim?.points.map(point) ?? [];
    if (bridge.closed && rim.length > 2) rim.push(rim[0]);
    if (!cut && !bridge.lined && rim.length > 1)
      addLine(view, "bridges", rim, 0.004 * view.radius, TONES.CUT_KIND_BRIDGE, "beads");
  });
  for (const near of plan.nearBridges) {
    if (near.from && near.to)
      addLine(view, "bridges", [near.from, near.to].map(point), 0.005 * view.radius, PURPLE);
    if (near.place) view.addLabel("bridges", near.place, mm(near.gapMm), "width", "thin rubber in a gap");
  }
}

function drawHinges(view, hinges) {
  for (const hinge of hinges) {
    const ends = [hinge.from, hinge.to].map(point);
    addLine(view, "hinges", ends, 0.006 * view.radius, GREEN);
    for (const end of ends) addBall(view, "hinges", end, 0.013 * view.radius, GREEN);
    view.addLabel("hinges", ends[0].clone().lerp(ends[1], 0.5), mm(hinge.widthMm), "width", "hinge");
  }
}

function drawGate(view, outlines) {
  for (const { points } of outlines) {
    if (points.length > 1) addLine(view, "gate", [...points, points[0]].map(point), 0.005 * view.radius, SKY);
  }
}

// Where the rigid shell round a blanket is parted.
function drawShell(view, shell) {
  for (const { line } of shell?.partingLines ?? []) {
    const points = line?.points.map(point) ?? [];
    if (points.length > 1) addLine(view, "shell", points, 0.006 * view.radius, PURPLE, "beads");
  }
}

function drawMisses(view, misses) {
  misses.forEach((miss, index) => {
    if (!miss.place) return;
    addBall(view, "misses", point(miss.place), 0.018 * view.radius, VERMILION);
    view.addLabel("misses", miss.place, `!${index + 1}`, "fault", miss.text);
  });
}

const LAYERS = ["cuts", "sheets", "lips", "bridges", "hinges", "gate", "shell", "misses"];

// Draws a plan in place of the one before. `rules` are those of the sheets that the request has.
export function drawPlan(view, plan, rules) {
  for (const layer of LAYERS) view.clear(layer);
  drawCuts(view, plan.cuts);
  drawSheets(view, plan.cuts);
  drawLips(view, plan.cuts, rules);
  drawBridges(view, plan);
  drawHinges(view, plan.hinges);
  drawGate(view, plan.gateOutline);
  drawShell(view, plan.advice?.shell);
  drawMisses(view, plan.misses);
}

export function clearPlan(view) {
  for (const layer of [...LAYERS, "skin"]) view.clear(layer);
}

// The outside of the rubber, as much to be seen as `shown` says, 0 to 1.
export function drawSkin(view, part, shown) {
  view.clear("skin");
  const geometry = surface(part);
  const material = new three.MeshLambertMaterial({
    color: colour(SKIN),
    transparent: true,
    opacity: shown,
    side: three.DoubleSide,
    depthWrite: false,
    flatShading: true,
  });
  const skin = new three.Mesh(geometry, material);
  skin.renderOrder = 4;
  const edges = new three.LineSegments(
    new three.EdgesGeometry(geometry, 20),
    new three.LineBasicMaterial({ color: 0x8a7443, transparent: true, opacity: 0.9 }),
  );
  edges.renderOrder = 4;
  view.add("skin", skin, edges);
}

export function fadeSkin(view, shown) {
  view.layers.get("skin")?.traverse((part) => {
    if (part.isMesh) part.material.opacity = shown;
  });
  view.draw();
}

// Marks of lines that somebody draws: the points, and the lines through them.
export function drawSketch(view, lines, chosen, layer = "sketch") {
  view.clear(layer);
  lines.forEach((line, index) => {
    const tone = index === chosen ? 0x0072b2 : 0x4a4a4a;
    const through = line.through.map(point);
    if (through.length > 1) addLine(view, layer, through, 0.006 * view.radius, tone);
    for (const place of line.points) addBall(view, layer, point(place), 0.012 * view.radius, tone);
    if (line.points.length > 0)
      view.addLabel(layer, line.points[0], line.name, "name", `line ${line.name}`);
  });
}
