// What a drummer can do with a drum besides tapping it: large buttons on a sheet.

import { BothHeadsSheet } from "./both_heads_sheet.js";
import { DampingSheet } from "./damping_sheet.js";
import { DrumsSheet } from "./drums_sheet.js";
import { el } from "./dom.js";
import { BeginHeadSheet } from "./head_sheets.js";
import { KeepSheet } from "./keep_sheet.js";
import { KitSheet } from "./kit_sheet.js";
import { Sheet } from "./sheet.js";

export class DrumMenu {
  constructor(state) {
    this.head = new BeginHeadSheet(state);
    this.both = new BothHeadsSheet(state);
    this.damping = new DampingSheet(state);
    this.keeping = new KeepSheet(state);
    this.drums = new DrumsSheet(state);
    this.kit = new KitSheet(state);
    const choices = [
      ["even head", "lug by lug, what to turn", () => this.head.open()],
      ["two heads", "batter against resonant", () => this.both.open()],
      ["damping", "what it takes away, before and after", () => this.damping.open()],
      ["keep this drum", "it is right now: remember it", () => this.keeping.open("")],
      ["my drums", "what was kept, and the way back", () => this.drums.open()],
      ["kit and key", "toms against the bass", () => this.kit.open()],
    ];
    this.sheet = new Sheet(
      "This drum",
      choices.map(([words, more, act]) =>
        el("button", { type: "button", className: "stick menu-choice", onclick: () => this.#go(act) }, el("strong", {}, words), el("span", { className: "soft" }, more)),
      ),
    );
  }

  open() {
    this.sheet.open();
  }

  #go(act) {
    this.sheet.close();
    act();
  }
}
