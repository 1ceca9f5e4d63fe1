// A new plan: a model is sent and its size looked at; then mould, rubber and time are given, and a plan is asked
// for or cuts are drawn.

import { byId, button, el, fill, say } from "./dom.js";
import { deleteModel, getModel, listModels, modelMesh, submitPlan, uploadModel } from "./service.js";
import { Mending } from "./mending.js";
import { Outlining } from "./outlining.js";
import { RequestForm, showFaults } from "./request.js";
import { FORMATS, UNITS, bytes, mm, sentence, size as lengthOf } from "./words.js";

// What was begun is still there when somebody comes back to it.
const begun = { file: null, unit: "", mending: null, model: null, agreed: false, form: null };

let open = null;

// Most triangles that are drawn; of a larger model the coarser surface is shown that plans are made on.
const DRAWN = 400_000;

export const surfaceOf = (model) =>
  Number(model.report.triangles) > DRAWN ? "MODEL_SURFACE_WORKING" : "MODEL_SURFACE_ORIGINAL";

const ending = (name) => name.toLowerCase().split(".").pop();

function sides(report) {
  return ["x", "y", "z"].map((axis) => report.highest[axis] - report.lowest[axis]);
}

// The height of the lowest corner along `up`.
export function lowestAlong(mesh, up) {
  const length = Math.hypot(up.x, up.y, up.z);
  let low = Infinity;
  for (let at = 0; at < mesh.positions.length; at += 3) {
    const [x, y, z] = mesh.positions.subarray(at, at + 3);
    low = Math.min(low, (x * up.x + y * up.y + z * up.z) / length);
  }
  return low;
}

class NewPlan {
  constructor(frame, info) {
    this.frame = frame;
    this.info = info;
    this.model = el("section", { class: "card", "aria-label": "The model" });
    this.rest = el("div", { class: "rest" });
    this.ended = new AbortController();
    // The form outlives the screen and talks to the one that is open.
    open = this;
    begun.form ??= new RequestForm(info.defaults, {
      upChanged: () => open.stand(),
      pickBase: () => open.pickBase(),
      pickPlace: (take) => open.pickPlace(take),
      pickOutline: (take) => open.pickOutline(take),
      placesChanged: () => open.drawPlaces(),
    });
  }

  open() {
    this.frame.title("New plan");
    fill(this.frame.body, this.model, this.rest);
    this.showFile();
    if (begun.model) this.showModel();
  }

  // Choosing a file, its unit, and sending it.
  showFile(words) {
    const input = el("input", {
      id: "file",
      type: "file",
      accept: Object.keys(FORMATS)
        .map((own) => `.${own}`)
        .join(","),
      "aria-describedby": "file-fault",
      on: { change: () => this.take(input.files[0]) },
    });
    const drop = el(
      "div",
      { class: "drop" },
      el("label", { for: "file" }, begun.file ? "Another file" : "Drop your model here, or choose a file"),
      input,
      el("p", { class: "small" }, "STL, OBJ, PLY, OFF, 3MF or glTF"),
    );
    const over = (on) => (event) => {
      event.preventDefault();
      drop.classList.toggle("over", on);
    };
    drop.addEventListener("dragover", over(true));
    drop.addEventListener("dragleave", over(false));
    drop.addEventListener("drop", (event) => {
      over(false)(event);
      this.take(event.dataTransfer.files[0]);
    });
    const fault = el("p", { class: "fault", id: "file-fault", role: "alert", hidden: !words }, words ?? "");
    const parts = [el("h2", {}, "The model"), drop, fault];
    if (begun.file) parts.push(...this.unitParts());
    else parts.push(this.older());
    this.report = el("div", { class: "report" });
    fill(this.model, parts, this.report);
  }

  unitParts() {
    const { file } = begun;
    const told = el("p", {}, el("strong", {}, file.name), `, ${bytes(file.size)}`);
    if (ending(file.name) === "3mf") {
      const unit = el("p", { class: "small" }, "A 3MF file carries its own unit.");
      return [told, unit, begun.mending.box, this.sendButton()];
    }
    // Once the model is known, each unit tells what it would make of it.
    const report = begun.model?.report;
    const given = UNITS.find(([unit]) => unit === begun.model?.unit);
    const longest = report && given ? Math.max(...sides(report)) / given[2] : null;
    const boxes = UNITS.map(([value, words, size]) =>
      el(
        "label",
        { class: "choice" },
        el("input", {
          type: "radio",
          name: "unit",
          value,
          checked: begun.unit === value,
          on: {
            change: () => {
              begun.unit = value;
            },
          },
        }),
        el(
          "span",
          {},
          words,
          longest === null ? null : el("small", {}, `longest side ${lengthOf(longest * size)}`),
        ),
      ),
    );
    return [
      told,
      el(
        "fieldset",
        { class: "choices units" },
        el("legend", {}, "In which unit was it saved? The file does not say."),
        boxes,
        el("p", { class: "fault", data: { fault: "header.unit" }, role: "alert", hidden: true }),
      ),
      begun.mending.box,
      this.sendButton(),
    ];
  }

  sendButton() {
    this.sender = button(begun.model ? "Send it again" : "Send it and look", () => this.send(), {
      class: begun.model ? "" : "main",
    });
    return this.sender;
  }

  // Models that are there already.
  older() {
    const list = el("ul", { class: "plain" });
    const box = el("details", {}, el("summary", {}, "Or take one that was sent before"), list);
    box.addEventListener("toggle", async () => {
      if (!box.open) return;
      try {
        const { models } = await listModels({ pageSize: 200 }, this.ended.signal);
        fill(
          list,
          models.length === 0
            ? el("li", {}, "There is none yet.")
            : models.reverse().map((model) =>
                el(
                  "li",
                  {},
                  button(model.displayName || model.name, () => this.takeModel(model), { class: "link" }),
                  ` longest side ${mm(Math.max(...sides(model.report)))}`,
                ),
              ),
        );
      } catch (error) {
        if (error.name !== "AbortError") fill(list, el("li", { class: "fault" }, error.message));
      }
    });
    return box;
  }

  takeModel(model) {
    Object.assign(begun, { file: null, model, agreed: true });
    begun.form.clearPlaces();
    this.showFile();
    this.showModel();
  }

  take(file) {
    if (!file) return;
    if (!FORMATS[ending(file.name)]) {
      this.showFile(
        `${file.name}: the page knows a file by its ending. Give one that ends in .stl, .obj, .ply, .off, .3mf, .glb or .gltf.`,
      );
      return;
    }
    Object.assign(begun, { file, mending: new Mending(), model: null, agreed: false, unit: "" });
    this.mesh = null;
    begun.form.clearPlaces();
    fill(this.rest);
    this.frame.stage().view.clearAll();
    this.showFile();
    this.model.querySelector("input[name=unit]")?.focus();
  }

  async send() {
    const { file, unit } = begun;
    const own = ending(file.name) === "3mf";
    if (!own && !unit) {
      const beside = this.model.querySelector("[data-fault='header.unit']");
      beside.textContent = "Choose the unit: a wrong one makes a mould ten times too big.";
      beside.hidden = false;
      this.model.querySelector("input[name=unit]").focus();
      return;
    }
    const options = begun.mending.options();
    if (!options) return;
    this.sender.disabled = true;
    fill(this.report, el("p", { class: "busy" }, `Sending ${bytes(file.size)} and checking the mesh ...`));
    say("The model is sent and checked.");
    // One whose size was agreed to may have plans, which need it.
    const before = begun.agreed ? null : begun.model;
    try {
      const header = {
        format: FORMATS[ending(file.name)],
        displayName: file.name.replace(/\.[^.]*$/, "").slice(0, 120),
        options,
      };
      const model = await uploadModel(own ? header : { ...header, unit }, file, this.ended.signal);
      Object.assign(begun, { model, agreed: false });
      this.mesh = null;
      begun.form.clearPlaces();
      fill(this.rest);
      // The one in the wrong unit is no use to anybody.
      if (before) deleteModel({ name: before.name }).catch(() => {});
      this.showFile();
      this.showModel();
    } catch (error) {
      if (error.name === "AbortError") return;
      this.sender.disabled = false;
      const rest = error.fields ? showFaults(this.model, error) : [error.message];
      // What is wrong with the file itself is said of its bytes.
      const words = (rest.length > 0 ? rest : ["See above."]).map((own) => own.replace(/^chunk: /, ""));
      if (rest.length > 0 && error.fields?.length > 0) begun.mending.show();
      const list = words.map((own) => el("li", {}, sentence(own)));
      fill(this.report, el("div", { class: "fault", role: "alert" }, el("ul", {}, list)));
      // What is asked for stands below the form.
      this.report.scrollIntoView({ block: "center" });
    }
  }

  // What the service made of the file, and whether its size is right.
  async showModel() {
    const { model } = begun;
    const { report } = model;
    const extent = sides(report);
    const longest = Math.max(...extent);
    const axis = "xyz"[extent.indexOf(longest)];
    const list = (heading, items) =>
      items.length === 0
        ? null
        : [
            el("h3", {}, heading),
            el(
              "ul",
              {},
              items.map((words) => el("li", {}, sentence(words))),
            ),
          ];
    const size = el(
      "p",
      { class: "size" },
      "Longest side ",
      el("strong", { id: "longest" }, mm(longest)),
      ` along ${axis} (${extent.map((own) => mm(own)).join(" x ")})`,
    );
    const agree = el(
      "div",
      { class: "agree" },
      el("p", {}, "Is that its real size? If not, choose another unit above and send it again."),
      button("Yes, that is its size", () => this.agree(), { class: "main", id: "agree" }),
    );
    fill(
      this.report,
      size,
      begun.agreed ? null : agree,
      el(
        "p",
        { class: "small" },
        `${Number(report.triangles).toLocaleString("en")} triangles, ${report.volumeCm3.toFixed(0)} cm³`,
      ),
      list("Mind", [...report.warnings, ...report.faults.map((fault) => fault.message)]),
      list("Repaired", report.repairs),
    );
    say(`The model is there. Its longest side is ${mm(longest)}.`);
    if (begun.agreed) this.showForm();
    const stage = this.frame.stage();
    fill(stage.more, el("p", { class: "busy", role: "status" }, "The model's surface is fetched ..."));
    try {
      this.mesh = await modelMesh(model.name, surfaceOf(model), this.ended.signal);
      if (this.ended.signal.aborted) return;
      fill(stage.more);
      this.stand();
    } catch (error) {
      if (error.name === "AbortError") return;
      fill(stage.more);
      this.report.append(el("p", { class: "fault" }, error.message));
    }
  }

  agree() {
    begun.agreed = true;
    this.report.querySelector(".agree").remove();
    this.showForm();
    this.rest.querySelector("select").focus();
  }

  // Puts the model on its board.
  stand() {
    if (!this.mesh) return;
    const stage = this.frame.stage();
    stage.view.setModel(this.mesh);
    stage.view.stand(begun.form.up, [this.mesh]);
    this.drawPlaces();
    stage.tell();
  }

  drawPlaces() {
    if (this.mesh) begun.form.drawPlaces(this.frame.stage().view);
  }

  // The next place that is picked on the model goes to `take`.
  pick(words, take) {
    // Before the model is seen there is nothing to pick.
    if (!this.mesh) return;
    this.outlining?.end();
    const stage = this.frame.stage();
    const { view } = stage;
    byId("stage").scrollIntoView({ block: "nearest" });
    const told = el(
      "p",
      { role: "status" },
      words,
      " ",
      button("Leave it", () => {
        view.setPick(null);
        fill(stage.more);
      }),
    );
    fill(stage.more, told);
    view.setPick((hit) => {
      view.setPick(null);
      fill(stage.more);
      take(hit);
    });
    view.canvas.focus();
  }

  pickBase() {
    this.pick(
      "Click the face that stands on the board, or turn it under the cross and press Enter.",
      ({ normal }) => {
        begun.form.takeUp({ x: -normal.x, y: -normal.y, z: -normal.z });
        this.stand();
      },
    );
  }

  pickPlace(take) {
    this.pick(
      "Click the middle of the place, or turn it under the cross and press Enter.",
      ({ point: { x, y, z } }) => {
        take({ x, y, z });
      },
    );
  }

  // The corners of the outline that is drawn next go to `take`.
  pickOutline(take) {
    if (!this.mesh) return;
    byId("stage").scrollIntoView({ block: "nearest" });
    this.outlining?.end();
    this.outlining = new Outlining(this.frame.stage(), take);
  }

  showForm() {
    this.outcome = el("div", { role: "alert" });
    this.go = button("Find the cuts", () => this.submit(), { class: "main", id: "go" });
    fill(
      this.rest,
      begun.form.sections,
      el(
        "section",
        { class: "card last" },
        el(
          "div",
          { class: "row" },
          this.go,
          button("Draw cuts of my own", () => this.draw()),
        ),
        this.outcome,
      ),
    );
  }

  request() {
    return begun.form.read(this.mesh ? lowestAlong(this.mesh, begun.form.up) : 0);
  }

  refused(error) {
    const rest = error.fields ? showFaults(this.rest, error) : [error.message];
    const words = rest.length > 0 ? rest : ["Some figures cannot be: see the fields marked above."];
    fill(
      this.outcome,
      words.map((own) => el("p", { class: "fault" }, sentence(own))),
    );
  }

  async submit() {
    this.go.disabled = true;
    try {
      const asked = {
        model: begun.model.name,
        request: this.request(),
        requestId: crypto.randomUUID?.() ?? "",
      };
      const job = await submitPlan(asked, this.ended.signal);
      location.hash = `#/plan/${job.name.replace("plans/", "")}`;
    } catch (error) {
      if (error.name !== "AbortError") this.refused(error);
    } finally {
      this.go.disabled = false;
    }
  }

  // Asks whether the request is sound, then goes on with drawing.
  async draw() {
    try {
      const request = this.request();
      await submitPlan({ model: begun.model.name, request, validateOnly: true }, this.ended.signal);
      sessionStorage.setItem("drawing", JSON.stringify({ model: begun.model.name, request }));
      location.hash = "#/draw";
    } catch (error) {
      if (error.name !== "AbortError") this.refused(error);
    }
  }
}

export async function openNew(frame, _rest, current) {
  const info = await frame.info();
  if (!current()) return undefined;
  const screen = new NewPlan(frame, info);
  if (begun.model) {
    // Somebody may have deleted it in the meantime.
    try {
      await getModel({ name: begun.model.name });
    } catch (error) {
      if (error.code === "NOT_FOUND") Object.assign(begun, { model: null, agreed: false });
    }
    if (!current()) return undefined;
  }
  screen.open();
  return () => screen.ended.abort();
}
