// Figures with their units, and the protocol's names in words.

// A figure and its unit, between which no line breaks.
export const figure = (value, unit) => `${value}\u00a0${unit}`;

// A length, with a decimal only where it tells something.
export const mm = (length) => figure(length.toFixed(length < 9.95 ? 1 : 0), "mm");

// The size of a thing that may be meant in another unit: metres where millimetres would be too many digits.
export const size = (length) =>
  length < 9999.5 ? mm(length) : figure(Math.round(length / 1000).toLocaleString("en"), "m");

export const percent = (share) => figure(Math.round(100 * share), "%");

// A span of time.
export function span(seconds) {
  if (seconds < 100) return figure(Math.round(seconds), "s");
  if (seconds < 5400) return figure(Math.round(seconds / 60), "min");
  return figure((seconds / 3600).toFixed(1), "h");
}

export function bytes(count) {
  if (count < 1e6) return figure(Math.max(1, Math.round(count / 1e3)), "kB");
  return figure((count / 1e6).toFixed(1), "MB");
}

export function moment(time) {
  if (!time) return "";
  const date = new Date(Number(time.seconds) * 1000);
  return date.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
}

// Words as a sentence, areas and volumes as people write them.
export function sentence(words) {
  const text = words.trim().replace(/(mm|cm)\^([23])/g, (_, unit, power) => unit + (power === "2" ? "²" : "³"));
  if (!text) return "";
  const begun = text[0].toUpperCase() + text.slice(1);
  return /[.!?]$/.test(begun) ? begun : `${begun}.`;
}

export const STATES = {
  JOB_STATE_QUEUED: "waits its turn",
  JOB_STATE_RUNNING: "being worked on",
  JOB_STATE_SUCCEEDED: "done",
  JOB_STATE_FAILED: "no plan",
  JOB_STATE_CANCELLED: "stopped",
};

export const STAGES = {
  STAGE_UNSPECIFIED: "Not begun yet",
  STAGE_MESH: "Looking at the model",
  STAGE_BODY: "Building the rubber round it",
  STAGE_BRIDGES: "Looking for holes that rubber fills",
  STAGE_GIRTH: "Measuring what has to pass",
  STAGE_OPTIMISE: "Looking for cuts",
  STAGE_CURVES: "Straightening the cuts",
  STAGE_TRIAL: "Trying whether the rubber comes off",
  STAGE_PLAN: "Putting the plan together",
};

export const KINDS_OF_CUT = {
  CUT_KIND_FROM_GATE: "from the base opening",
  CUT_KIND_SEPARATE: "separate cut",
  CUT_KIND_BRIDGE: "bridge cut",
  CUT_KIND_BEHIND_HINGE: "cut behind a hinge",
};

export const RUBBERS = [
  ["RUBBER_CLASS_SOFT_SILICONE", "Soft silicone, about 15 Shore A"],
  ["RUBBER_CLASS_MEDIUM_SILICONE", "Medium silicone, about 25 Shore A"],
  ["RUBBER_CLASS_FIRM_SILICONE", "Firm silicone, about 40 Shore A"],
  ["RUBBER_CLASS_SOFT_POLYURETHANE", "Soft polyurethane, about 30 Shore A"],
  ["RUBBER_CLASS_FIRM_POLYURETHANE", "Firm polyurethane, about 50 Shore A"],
];

// Units by name, short name and size in mm.
export const UNITS = [
  ["LENGTH_UNIT_MILLIMETRE", "mm", 1],
  ["LENGTH_UNIT_CENTIMETRE", "cm", 10],
  ["LENGTH_UNIT_INCH", "inch", 25.4],
  ["LENGTH_UNIT_METRE", "m", 1000],
  ["LENGTH_UNIT_FOOT", "foot", 304.8],
  ["LENGTH_UNIT_MICRON", "micron", 0.001],
];

// Formats by the ending of a file's name.
export const FORMATS = {
  stl: "MESH_FORMAT_STL",
  obj: "MESH_FORMAT_OBJ",
  ply: "MESH_FORMAT_PLY",
  off: "MESH_FORMAT_OFF",
  "3mf": "MESH_FORMAT_THREE_MF",
  glb: "MESH_FORMAT_GLTF",
  gltf: "MESH_FORMAT_GLTF",
};

// What a trial came to, in short; loud where it is no good news. The words are those of the plan's own page.
export function triedInShort(outcome, hindrance) {
  switch (outcome) {
    case "TRIAL_OUTCOME_RELEASED":
      return "comes off in the trial";
    case "TRIAL_OUTCOME_STUCK":
      return `${hindrance === "HINDRANCE_TEAR" ? "TEARS" : "STAYS ON"} in the trial`;
    case "TRIAL_OUTCOME_OUT_OF_TIME":
    case "TRIAL_OUTCOME_NO_VERDICT":
      return "NO VERDICT in the trial";
    case "TRIAL_OUTCOME_NOT_ASKED":
      return "release not tried";
    case "TRIAL_OUTCOME_NOT_YET":
      return "release not tried yet";
    default:
      return "release NOT TRIED";
  }
}

// Overlap beyond which a trial is not to be relied on, as the program has it.
const MOST_OVERLAP = 0.5;

export const isDoubtful = (trial) => trial.overlap > MOST_OVERLAP || trial.pieces > 1;

// The plan in one line: its cuts, what its trial came to, limits missed.
export function verdict(plan) {
  const missed = plan.limits.filter((limit) => !limit.met).length;
  const after = missed === 0 ? "" : `; ${missed} ${missed === 1 ? "limit" : "limits"} missed`;
  const { length } = plan.cuts;
  let cuts = `${length} cuts, ${mm(plan.totalLengthMm)} in all`;
  if (length === 0) {
    cuts = missed === 0 && plan.bridges.length === 0 ? "No cut needed" : "No cut in this plan";
  } else if (length === 1) cuts = `1 cut, ${mm(plan.totalLengthMm)}`;
  const ran = ["RELEASED", "STUCK", "OUT_OF_TIME", "NO_VERDICT"];
  const trial = plan.trial ?? { outcome: "TRIAL_OUTCOME_NOT_ASKED", overlap: 0, pieces: 0 };
  const doubt = ran.includes(trial.outcome.replace("TRIAL_OUTCOME_", "")) && isDoubtful(trial);
  return `${cuts}; ${triedInShort(trial.outcome, trial.hindrance)}${doubt ? " (DOUBTFUL)" : ""}${after}`;
}

// How good the news is: "good", "doubt" or "bad".
export function tone(plan) {
  const outcome = plan.trial?.outcome;
  if (outcome === "TRIAL_OUTCOME_STUCK" || plan.misses.some((miss) => miss.fatal)) return "bad";
  if (plan.standing?.fallsApart) return "bad";
  const clean =
    plan.limits.every((limit) => limit.met) && !isDoubtful(plan.trial ?? { overlap: 0, pieces: 0 });
  return outcome === "TRIAL_OUTCOME_RELEASED" && clean ? "good" : "doubt";
}
