// The references there were: which, when, by whom and from what, newest first.

import { references } from "./api.js";
import { el, say } from "./dom.js";
import { foundWords } from "./instrument_words.js";
import { listed } from "./proposing.js";
import { faultLine, Sheet } from "./sheet.js";
import { clock, hertz, NOBODY } from "./words.js";

const MOST = 20;
const KINDS = { adopted: "agreed", undone: "undone", set: "set" };

function day(iso) {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? "" : at.toLocaleDateString([], { day: "numeric", month: "short" });
}

/** "agreed by Tove and Ilse", "undone by Tove". */
function whoWords({ kind, by, agreed }) {
  const names = agreed.length ? agreed : [by].filter((name) => name && name !== NOBODY);
  return [KINDS[kind] ?? kind, names.length ? `by ${listed(names)}` : ""].filter(Boolean).join(" ");
}

function awayWords(names) {
  return names?.length ? `${listed(names)} ${names.length > 1 ? "were" : "was"} away` : "";
}

/** What each instrument was that it was measured from: "12 notes, equal, 45 to 1 against Vallotti". */
function evidence(found, noteName) {
  const instruments = Array.isArray(found?.instruments) ? found.instruments : [];
  const several = instruments.length > 1;
  return instruments.filter((each) => Array.isArray(each?.evidence))
    .map((each) => `${several ? `${each.name}: ` : ""}${foundWords(each, noteName)}`).join(" · ");
}

function entry(told, noteName) {
  return el(
    "li",
    {},
    el("strong", {}, hertz(told.a4_hz)),
    el("div", {},
      el("p", {}, whoWords(told)),
      el("p", { className: "soft" }, [told.source, evidence(told.evidence, noteName), awayWords(told.away)].filter(Boolean).join(" · "))),
    el("span", { className: "soft" }, el("span", {}, day(told.at)), el("span", {}, clock(told.at))),
  );
}

export class HistorySheet {
  #state;

  constructor(state) {
    this.#state = state;
    this.list = el("ol", { className: "history" });
    this.fault = faultLine();
    const download = (href, name) => el("a", { className: "button", href, download: name }, name.split(".").at(-1).toUpperCase());
    this.files = el("div", { className: "files" },
      el("span", { className: "soft" }, "save all as"),
      download("/api/v1/references.csv", "references.csv"), download("/api/v1/references", "references.json"));
    this.sheet = new Sheet("Earlier references", [this.list], [this.fault, this.files]);
  }

  async open() {
    say(this.fault, "");
    this.sheet.open();
    try {
      const told = await references();
      const entries = told.references.slice(0, MOST).map((each) => entry(each, (note) => this.#state.noteName(note)));
      this.list.replaceChildren(...(entries.length ? entries : [el("li", { className: "soft" }, "The reference was never changed.")]));
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
