// Small helpers for what is on the page.

// An element with properties and children. `on` holds listeners, `data` data attributes; names with a dash are
// attributes, all others properties. Children that are null or undefined are left out; text is text, never HTML.
export function el(tag, properties, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(properties ?? {})) {
    if (value === undefined || value === null) continue;
    if (name === "on") {
      for (const [event, listener] of Object.entries(value)) made.addEventListener(event, listener);
    } else if (name === "data") Object.assign(made.dataset, value);
    else if (name === "class") made.className = value;
    else if (name === "role" || name === "for" || name.includes("-")) made.setAttribute(name, value);
    else made[name] = value;
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return made;
}

// Puts children in place of what was there.
export function fill(place, ...children) {
  place.replaceChildren(...children.flat().filter((child) => child !== null && child !== undefined));
}

export const byId = (id) => document.getElementById(id);

export function button(words, press, properties) {
  return el("button", { type: "button", on: { click: press }, ...properties }, words);
}

// Radio buttons with the same name in a box with a heading. `choices` are value, words and further words.
export function choose(heading, name, choices, chosen, changed) {
  const options = choices.map(([value, words, more]) =>
    el(
      "label",
      { class: "choice" },
      el("input", {
        type: "radio",
        name,
        value,
        checked: value === chosen,
        on: { change: () => changed?.(value) },
      }),
      el("span", {}, words, more ? el("small", {}, more) : null),
    ),
  );
  return el("fieldset", { class: "choices" }, el("legend", {}, heading), ...options);
}

// Says something to whoever does not see the page, and to nobody else.
export function say(words) {
  byId("said").textContent = words;
}

// Asks a question; answers true where the person says yes.
export function ask(question, yes) {
  return new Promise((answer) => {
    const dialog = el(
      "dialog",
      { class: "question", "aria-labelledby": "question" },
      el("p", { id: "question" }, question),
      el(
        "form",
        { method: "dialog" },
        el("button", { value: "no" }, "No, keep it"),
        el("button", { value: "yes", class: "danger" }, yes),
      ),
    );
    dialog.addEventListener("close", () => {
      dialog.remove();
      answer(dialog.returnValue === "yes");
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}
