// The player's strings as wire: how hard each pulls, how far it is from breaking, what keeps
// the feel in another tuning, and what a cold room does.

import { gauge, keepSet } from "./api.js";
import { el, mark, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { signed } from "./words.js";

const RECKON_AFTER_MS = 350;
const TAKEN = {
  usual: "A usual set: write your own gauges.",
  kept: "Your set, as you kept it.",
  typed: "Not kept yet.",
  none: "Write the gauges of your set, from string 1 on.",
};

function field(words, control) {
  return el("label", {}, el("span", {}, words), control);
}

function option(value, words) {
  return el("option", { value }, words);
}

export class GaugeSheet {
  #state;
  #timer = 0;
  #asked = 0;
  #player = "";

  constructor(state) {
    this.#state = state;
    const again = () => this.#reckonSoon();
    this.gauges = el("input", { name: "gauges", maxLength: 200, autocomplete: "off", autocapitalize: "off", spellcheck: false, oninput: again });
    this.scale = el("input", { name: "scale", maxLength: 20, autocomplete: "off", oninput: again });
    this.winding = el("select", { name: "winding", onchange: again });
    this.wrap = el("select", { name: "wrap", onchange: again });
    this.string = el("select", { name: "string", onchange: again });
    this.to = el("select", { name: "to", onchange: again });
    this.degrees = el("select", { name: "degrees", onchange: again }, ...[-4, -8, -12, -16, 4, 8].map((each) => option(String(each), each < 0 ? `${-each} \u00b0C colder` : `${each} \u00b0C warmer`)));
    this.degrees.value = "-8";
    this.taken = el("p", { className: "soft bench-small" });
    this.total = el("p", { className: "gauge-total" });
    this.advice = el("ul", { className: "gauge-advice" });
    this.rows = el("ol", { className: "gauge-rows" });
    this.windings = el("ul", { className: "soft bench-small plain-list" });
    this.cautions = el("ul", { className: "cautions" });
    this.fault = faultLine();
    this.keep = el("button", { type: "button", className: "main", onclick: () => this.#keep() }, "keep this set");
    const materials = el(
      "details",
      { className: "gauge-materials" },
      el("summary", {}, "what they are made of"),
      el("div", { className: "fields" }, field("plain strings", this.string), field("wound with", this.wrap), field("how wound", this.winding)),
    );
    this.sheet = new Sheet(
      "Strings as wire",
      [
        el(
          "form",
          { noValidate: true, className: "gauge-form", onsubmit: (event) => this.#submit(event) },
          field("gauges, string 1 first (w: wound)", this.gauges),
          el("div", { className: "gauge-two" }, field("scale length", this.scale), field("in another tuning", this.to)),
          materials,
        ),
        this.taken,
        this.total,
        this.advice,
        this.rows,
        field("in a room that is", this.degrees),
        this.windings,
        this.cautions,
      ],
      [this.fault, el("div", { className: "buttons" }, this.keep)],
    );
    this.sheet.node.classList.add("bench-sheet");
  }

  async open() {
    const { me } = this.#state;
    if (!me) return;
    say(this.fault, "");
    this.sheet.open();
    if (this.#player !== `${me.id} ${me.instrument}`) {
      this.#player = `${me.id} ${me.instrument}`;
      for (const each of [this.gauges, this.scale, this.winding, this.wrap, this.string, this.to]) each.value = "";
    }
    await this.#reckon();
  }

  #reckonSoon() {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#reckon(), RECKON_AFTER_MS);
  }

  get #set() {
    const { gauges, scale, string, wrap, winding } = this;
    const written = { gauges, scale, string, wrap, winding };
    return Object.fromEntries(Object.entries(written).map(([key, control]) => [key, control.value.trim()]));
  }

  async #reckon() {
    const { me } = this.#state;
    if (!me) return;
    this.#asked += 1;
    const mine = this.#asked;
    try {
      const told = await gauge(me.id, { ...this.#set, to: this.to.value, degrees: this.degrees.value });
      if (mine !== this.#asked) return; // something else has been typed since
      say(this.fault, "");
      this.#draw(told);
    } catch (error) {
      if (mine === this.#asked) say(this.fault, error.message);
    }
  }

  #draw(told) {
    this.#offer(told);
    this.keep.disabled = told.taken !== "typed";
    const capo = told.capo ? ` Without the capo: the strings pull as if it were off.` : "";
    say(this.taken, TAKEN[told.taken] + capo);
    const { view } = told;
    for (const each of [this.total, this.advice, this.rows, this.windings, this.cautions]) each.hidden = !view;
    if (!view) return;
    this.#sayTotal(view);
    this.advice.replaceChildren(...view.advice.map((each) => el("li", {}, this.#named(each))));
    this.rows.replaceChildren(...view.strings.map((each) => this.#row(each, told)));
    this.windings.replaceChildren(...Object.values(view.windings).map((each) => el("li", {}, each)));
    if (view.heat.why_not) this.windings.append(el("li", {}, view.heat.why_not));
    this.cautions.replaceChildren(...view.cautions.map((each) => el("li", {}, each)));
  }

  // The station's advice names notes in English.
  #named(text) {
    return text.replace(/\b[A-G](?:#|b)?\d\b/g, (note) => this.#state.noteName(note));
  }

  #offer(told) {
    const { choices } = told;
    if (!this.wrap.options.length) {
      const labelled = (list) => [option("", "as is usual"), ...list.map((each) => option(each.key, each.label))];
      this.string.replaceChildren(...labelled(choices.string));
      this.wrap.replaceChildren(...labelled(choices.wrap));
      this.winding.replaceChildren(option("", "as is usual"), ...choices.winding.map((each) => option(each, `${each} wound`)));
    }
    const tunings = told.tunings.map((each) => `${each.tuning}\n${each.label}`).join();
    if (this.to.dataset.known !== tunings) {
      this.to.dataset.known = tunings;
      this.to.replaceChildren(option("", "none"), ...told.tunings.map((each) => option(each.tuning, each.label)));
    }
    if (told.taken !== "typed" && told.set.gauges && !this.gauges.value) {
      this.gauges.placeholder = told.set.gauges;
      if (told.taken === "kept") {
        for (const key of ["gauges", "scale", "string", "wrap", "winding"]) this[key].value = told.set[key];
      }
    }
    this.scale.placeholder = told.scale_mm ? `${(told.scale_mm / 25.4).toFixed(1)}in` : "25.5in or 648mm";
  }

  #sayTotal(view) {
    const { load, target } = view;
    const whole = el("strong", {}, `${load.total_lb.toFixed(0)} lb`);
    const words = [` ${load.total_n.toFixed(0)} N on the neck`];
    if (target) words.push(`; as they are in ${target.tuning.split(":").at(-1)} ${signed(target.same_percent, 0)} %, with the gauges named below ${signed(target.percent, 0)} %`);
    this.total.replaceChildren(whole, el("span", {}, words.join("")));
  }

  #row(string, told) {
    const { keep, drift, measured } = string;
    const gaugeWords = `${string.gauge ?? "?"}${string.winding === "plain" ? " plain" : ` ${string.winding}`}${string.count > 1 ? ` \u00d7${string.count}` : ""}`;
    const bar = el("span", { className: "gauge-load", "aria-hidden": "true" });
    bar.style.setProperty("--load", Math.min(string.load ?? 0, 1).toFixed(3));
    const row = el(
      "li",
      { className: "gauge-row" },
      el("span", { className: "gauge-string" }, el("strong", {}, String(string.string)), el("span", {}, this.#state.noteName(string.note))),
      bar,
      el("span", { className: "gauge-wire" }, el("strong", {}, gaugeWords), el("span", { className: "soft" }, this.#marginWords(string))),
      el("span", { className: "gauge-pull" }, el("strong", {}, `${string.tension_lb.toFixed(1)} lb`), el("span", { className: "soft" }, `${string.tension_n.toFixed(0)} N`)),
    );
    mark(row, "load", string.verdict);
    const more = [];
    if (keep && keep.note !== string.note) more.push(`as ${this.#state.noteName(keep.note)}: ${keep.same.tension_lb.toFixed(1)} lb, ${signed(keep.same.percent, 0)} %`);
    if (keep?.other?.changed) more.push(`for the same feel ${keep.other.gauge} (${keep.other.tension_lb.toFixed(1)} lb)`);
    if (drift) more.push(`${told.view.heat.degrees < 0 ? "cold" : "warmth"}: ${signed(drift.first_cents, 0)} at first, ${signed(drift.cents, 0)} cents later`);
    if (measured) more.push(`stiffness measured: ${measured.says}`);
    if (more.length) row.append(el("p", { className: "gauge-more soft" }, more.join(" \u00b7 ")));
    return row;
  }

  #marginWords(string) {
    if (string.verdict === null) return "margin not known";
    const room = string.room_cents > 0 ? `, ${(string.room_cents / 100).toFixed(1)} semitones up` : "";
    return `${string.verdict}: ${Math.max(0, string.margin_percent).toFixed(0)} % left${room}`;
  }

  #submit(event) {
    event.preventDefault();
    this.#reckon();
  }

  async #keep() {
    const { me } = this.#state;
    if (!me) return;
    say(this.fault, "");
    try {
      const told = await withCode((code) => keepSet(me.id, { ...this.#set, by: this.#state.by }, code));
      if (told) await this.#reckonKept();
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  async #reckonKept() {
    await this.#reckon();
    this.keep.disabled = true;
    say(this.taken, TAKEN.kept);
  }
}
