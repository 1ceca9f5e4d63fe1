// What can be had of a plan as files: pages for the bench, pictures, scenes, words.

import { button, el, fill } from "./dom.js";
import { listPlanFiles, planFile } from "./service.js";
import { bytes } from "./words.js";

// What goes to the bench, first.
const FIRST = ["PLAN_FILE_KIND_BENCH", "PLAN_FILE_KIND_TEMPLATE"];
const PAPERS = [
  ["PAPER_SIZE_A4", "A4"],
  ["PAPER_SIZE_LETTER", "US Letter"],
];

function save(blob, name) {
  const address = URL.createObjectURL(blob);
  const link = el("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  // Once the browser has taken it.
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

const nameOf = (file) => file.name.split("/").pop();

export class PlanFiles {
  constructor(plan, heading, signal) {
    Object.assign(this, { plan, heading, signal });
    this.place = el("section", { class: "card files" }, el("h2", {}, "For the bench"));
  }

  async load() {
    try {
      const answer = await listPlanFiles({ parent: this.plan, pageSize: 50 }, this.signal);
      this.show(answer);
    } catch (error) {
      if (error.name !== "AbortError")
        fill(this.place, el("h2", {}, "For the bench"), el("p", { class: "fault" }, error.message));
    }
  }

  show({ files, missing }) {
    this.paper = el(
      "select",
      { id: "paper" },
      PAPERS.map(([value, words]) => el("option", { value }, words)),
    );
    // What is printed first.
    const bench = files
      .filter((file) => FIRST.includes(file.kind))
      .sort((a, b) => b.mediaType.endsWith("pdf") - a.mediaType.endsWith("pdf"));
    const others = files.filter((file) => !FIRST.includes(file.kind));
    this.told = el("p", { class: "small", role: "status" });
    fill(
      this.place,
      el("h2", {}, "For the bench"),
      el("p", {}, "Print the template without scaling, and measure its 100 mm line before you use it."),
      el("div", { class: "field" }, el("label", { for: "paper" }, "Paper"), this.paper),
      el(
        "ul",
        { class: "plain" },
        bench.map((file) => this.line(file)),
      ),
      el(
        "details",
        {},
        el("summary", {}, "Pictures, scenes and words"),
        el(
          "ul",
          { class: "plain" },
          others.map((file) => this.line(file)),
        ),
      ),
      missing.length === 0
        ? null
        : el(
            "details",
            {},
            el("summary", {}, `Not to be had (${missing.length})`),
            el(
              "ul",
              {},
              missing.map((file) => el("li", {}, `${nameOf(file)}: ${file.description}.`)),
            ),
          ),
      this.told,
    );
  }

  line(file) {
    const name = nameOf(file);
    const shown = /^(image|text\/plain)/.test(file.mediaType);
    return el(
      "li",
      {},
      button(`Save ${name}`, () => this.fetch(file, (blob) => save(blob, `${this.heading}-${name}`))),
      shown
        ? button("Look", () => this.fetch(file, (blob) => this.look(blob, file)), {
            "aria-label": `Look at ${name}`,
          })
        : null,
      el("span", { class: "small" }, ` ${file.title}`),
    );
  }

  async fetch(file, use) {
    this.told.textContent = `${nameOf(file)} is being drawn ...`;
    try {
      const { blob } = await planFile(file.name, { paper: this.paper.value, signal: this.signal });
      this.told.textContent = `${nameOf(file)} is there, ${bytes(blob.size)}.`;
      await use(blob);
    } catch (error) {
      if (error.name !== "AbortError") this.told.textContent = error.message;
    }
  }

  // As large as the window allows.
  async look(blob, file) {
    const address = URL.createObjectURL(blob);
    const shown = file.mediaType.startsWith("text/plain")
      ? el("pre", {}, await blob.text())
      : el("img", { src: address, alt: file.title });
    const dialog = el(
      "dialog",
      { class: "look", "aria-label": file.title },
      el("form", { method: "dialog" }, el("button", {}, "Close")),
      el("div", { class: "scroll", tabIndex: 0, role: "region", "aria-label": file.title }, shown),
    );
    dialog.addEventListener("close", () => {
      URL.revokeObjectURL(address);
      dialog.remove();
    });
    document.body.append(dialog);
    dialog.showModal();
  }
}
