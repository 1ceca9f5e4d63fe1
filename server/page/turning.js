// From where a model is looked at, in the mould maker's words: so far round from the front to the right, so far
// up from the board. Several views may share one, and then turn together.

export const SIDES = [
  ["front", "Front", 0, 0],
  ["right", "Right", 90, 0],
  ["back", "Back", 180, 0],
  ["left", "Left", 270, 0],
  ["top", "Above", 0, 90],
  ["below", "Below", 0, -90],
  ["three-quarter", "Front right", 35, 28],
];

const [, , ROUND, RAISED] = SIDES[6];
const CLOSEST = 30;
const FARTHEST = 0.3;

export class Turning {
  constructor() {
    this.listeners = new Set();
    this.home();
  }

  // Whoever is told of every change; the answer takes them off the list.
  listen(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  tell() {
    for (const listener of this.listeners) listener();
  }

  home() {
    [this.round, this.raised, this.zoom, this.shift] = [ROUND, RAISED, 1, [0, 0]];
    this.tell();
  }

  look(round, raised) {
    [this.round, this.raised, this.shift] = [round, raised, [0, 0]];
    this.tell();
  }

  // Degrees.
  turn(round, raised) {
    this.round = (this.round + round + 360) % 360;
    this.raised = Math.max(-90, Math.min(90, this.raised + raised));
    this.tell();
  }

  nearer(factor) {
    this.zoom = Math.max(FARTHEST, Math.min(CLOSEST, this.zoom * factor));
    this.tell();
  }

  // Shares of the view's height.
  move(right, up) {
    this.shift = [this.shift[0] + right / this.zoom, this.shift[1] + up / this.zoom];
    this.tell();
  }

  // The side that is seen, in words.
  words() {
    const { round, raised } = this;
    const side = SIDES.find(([, , a, b]) => Math.abs(a - round) < 1 && Math.abs(b - raised) < 1);
    if (side) return `seen from: ${side[1].toLowerCase()}`;
    const names = ["front", "front right", "right", "back right", "back", "back left", "left", "front left"];
    const level = `seen from the ${names[Math.round(round / 45) % 8]}`;
    if (raised > 15) return `${level}, from above`;
    return raised < -15 ? `${level}, from below` : level;
  }
}
