// How notes are named on this phone: as the station does, or as its owner likes.

import { el } from "./dom.js";
import { noteIn, SYSTEMS } from "./names.js";

const TELLING = ["C#", "Eb", "Bb", "B"]; // where the systems differ

/** "German: Cis Es B H". */
function described(system) {
  return `${SYSTEMS[system]}: ${TELLING.map((note) => noteIn(note, system)).join(" ")}`;
}

export class NamesChoice {
  #state;

  constructor(state) {
    this.#state = state;
    this.station = el("option", { value: "" });
    this.select = el(
      "select",
      { name: "names", onchange: () => state.chooseNames(this.select.value) },
      this.station,
      ...Object.keys(SYSTEMS).map((system) => el("option", { value: system }, described(system))),
    );
    this.node = el("label", { className: "names" }, el("span", {}, "note names on this phone"), this.select);
    state.onChange((what) => this.#update(what));
  }

  #update(what) {
    if (what !== "room") return;
    const theirs = `as the station, ${SYSTEMS[this.#state.stationNames]}`;
    // An option that is written anew closes the list on some phones.
    if (this.station.textContent !== theirs) this.station.textContent = theirs;
    if (this.select.value !== this.#state.ownNames) this.select.value = this.#state.ownNames;
  }
}
