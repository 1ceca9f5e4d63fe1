// The page's frame: which screen is open, and the token.

import { byId, el, fill } from "./dom.js";
import { onTokenNeeded, serverInfo, setToken, token } from "./service.js";
import { Stage } from "./stage.js";
import { openNew } from "./model.js";
import { openPlan } from "./plan.js";
import { openJobs } from "./jobs.js";
import { openCompare } from "./compare.js";
import { openDraw } from "./draw.js";

const screens = { new: openNew, plan: openPlan, plans: openJobs, compare: openCompare, draw: openDraw };

let close = () => {};
let stage = null;
let info = null;
// Counts the screens, so that one that was left before it was ready does not open over the next.
let turn = 0;

// What a screen gets: places to fill, and the stage when it wants one.
const frame = {
  verdict: byId("verdict"),
  head: byId("head"),
  body: byId("body"),
  title(words) {
    byId("title").textContent = words;
    document.title = `${words} - slitwright`;
  },
  stage() {
    byId("stage").hidden = false;
    stage ??= new Stage(byId("stage"), { label: "The model in space" });
    return stage;
  },
  async info() {
    info ??= await serverInfo();
    return info;
  },
};

function clean() {
  close();
  close = () => {};
  for (const id of ["verdict", "head", "stage"]) byId(id).hidden = true;
  frame.verdict.className = "";
  fill(frame.verdict);
  fill(frame.head);
  fill(frame.body);
  if (stage) {
    stage.view.setPick(null);
    stage.view.clearAll();
    stage.hidden.clear();
    stage.turning.home();
    fill(stage.tools);
    fill(stage.more);
  }
}

async function route(event) {
  const [name, ...rest] = location.hash.replace(/^#\/?/, "").split("/").filter(Boolean);
  const screen = screens[name] ? name : "new";
  turn += 1;
  const own = turn;
  clean();
  byId("main").dataset.screen = screen;
  for (const link of document.querySelectorAll("nav a")) {
    if (link.dataset.page === screen) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  try {
    const closes = await screens[screen](frame, rest, () => own === turn);
    if (own === turn) close = closes ?? close;
    else closes?.();
    // Whoever follows a link by the keyboard goes on from the new screen's heading.
    if (own === turn && event && document.activeElement === document.body) byId("title").focus();
  } catch (error) {
    if (own !== turn || error.name === "AbortError") return;
    fill(frame.body, el("p", { class: "fault", role: "alert" }, error.message));
    if (!error.code) throw error;
  }
}

const dialog = byId("tokens");

function askForToken() {
  byId("token").hidden = false;
  if (dialog.open) return;
  byId("token-value").value = "";
  byId("token-not").hidden = !token();
  dialog.showModal();
}

dialog.addEventListener("close", () => {
  if (dialog.returnValue !== "yes") return;
  setToken(byId("token-value").value.trim());
  route();
});
byId("token").addEventListener("click", () => {
  askForToken();
  byId("token-not").hidden = true;
});
// Most people have no use for one.
byId("token").hidden = !token();
onTokenNeeded(askForToken);
addEventListener("hashchange", route);
// A file that is dropped beside its place must not take the page's place.
for (const name of ["dragover", "drop"]) addEventListener(name, (event) => event.preventDefault());
// The skip link names a place on the page, not a screen.
document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  frame.body.focus();
});
route();
