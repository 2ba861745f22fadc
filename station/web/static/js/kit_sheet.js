// The kit against the key: drums with size and pitch, songs with key and bass roots, and what
// each tom is in them. Nothing here says that a drum is wrong.

import { drums, kit, putDrum, setKitSongs } from "./api.js";
import { el, mark, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";
import { beats, signed } from "./words.js";

const TONICS = ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const SCALES = ["major", "natural minor", "harmonic minor", "dorian", "mixolydian"];
const KINDS = ["tom", "snare", "bass", "timbale"];
const CLASHES_SHOWN = 6;

function field(words, control) {
  return el("label", {}, el("span", {}, words), control);
}

function options(values) {
  return values.map((each) => el("option", { value: each }, each));
}

export class KitSheet {
  #state;
  #songs = [];

  constructor(state) {
    this.#state = state;
    this.drums = el("div", { className: "kit-drums" });
    this.targets = el("div", { className: "kit-targets" });
    this.clashes = el("ul", { className: "kit-clashes" });
    this.songs = el("ul", { className: "kit-songs" });
    this.fault = faultLine();
    this.sheet = new Sheet("Kit and key", [
      this.drums,
      this.targets,
      this.clashes,
      el("h3", {}, "songs"),
      this.songs,
      this.#songForm(),
      el("h3", {}, "a drum"),
      this.#drumForm(),
    ], [this.fault]);
  }

  async open() {
    say(this.fault, "");
    this.sheet.open();
    try {
      this.#offerNames((await drums()).drums);
      this.#draw(await kit());
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  #songForm() {
    this.songName = el("input", { name: "song", maxLength: 40, autocomplete: "off", placeholder: "Low tide" });
    this.tonic = el("select", { name: "tonic" }, ...options(TONICS));
    this.scale = el("select", { name: "scale" }, ...options(SCALES));
    this.bass = el("input", { name: "bass", maxLength: 60, autocomplete: "off", placeholder: "E1 A1 B1" });
    this.tonic.value = "E";
    return (this.songFields = el(
      "form",
      { noValidate: true, className: "kit-form", onsubmit: (event) => this.#addSong(event) },
      field("song", this.songName),
      el("div", { className: "three" }, field("key", this.tonic), field("scale", this.scale), field("bass roots", this.bass)),
      el("button", { className: "stick" }, "add this song"),
    ));
  }

  #drumForm() {
    this.known = el("datalist", { id: "kit-drums" });
    this.name = el("input", { name: "kit-drum", maxLength: 40, autocomplete: "off", placeholder: "floor tom" });
    this.name.setAttribute("list", "kit-drums");
    this.kind = el("select", { name: "kind" }, ...options(KINDS));
    this.diameter = el("input", { name: "diameter", inputMode: "decimal", placeholder: "16" });
    this.depth = el("input", { name: "depth", inputMode: "decimal", placeholder: "14" });
    this.pitch = el("input", { name: "pitch", maxLength: 20, autocomplete: "off", placeholder: "G2+12, or empty: last taps" });
    this.leave = el("input", { type: "checkbox", name: "leave" });
    return el(
      "form",
      { noValidate: true, className: "kit-form", onsubmit: (event) => this.#putDrum(event) },
      el("div", { className: "two" }, field("drum", this.name), field("kind", this.kind)),
      el("div", { className: "three" }, field("inches across", this.diameter), field("deep", this.depth), field("pitch", this.pitch)),
      el("label", { className: "check" }, this.leave, el("span", {}, "leave this drum where it is")),
      this.known,
      el("button", { className: "stick" }, "keep this drum"),
    );
  }

  #offerNames(kept) {
    this.known.replaceChildren(...kept.map((each) => el("option", { value: each.name })));
    this.name.onchange = () => {
      const found = kept.find((each) => each.name === this.name.value);
      if (!found) return;
      this.kind.value = found.kind;
      this.diameter.value = found.diameter_in ?? "";
      this.depth.value = found.depth_in ?? "";
      this.pitch.value = found.hz === null ? "" : `${found.hz.toFixed(1)} Hz`;
      this.leave.checked = found.keep;
    };
  }

  #draw(told) {
    this.#songs = told.songs;
    this.songFields.hidden = told.from_order;
    const fromOrder = told.from_order ? [el("li", { className: "soft" }, "These are the running order's.")] : [];
    this.songs.replaceChildren(...fromOrder, ...told.songs.map((each) => this.#song(each, told.from_order)));
    const { view } = told;
    const missing = told.missing.length ? `Size or pitch still to be said: ${told.missing.join(", ")}.` : "";
    if (!view) {
      const wanted = "A drum with its size and pitch, and a song with its key: then each drum's nearest tones stand here.";
      this.drums.replaceChildren(el("p", { className: "soft" }, missing || wanted));
      this.targets.replaceChildren();
      this.clashes.replaceChildren();
      return;
    }
    this.drums.replaceChildren(...view.drums.map((each) => this.#drum(each)), el("p", { className: "soft" }, missing));
    const clashes = view.clashes.slice(0, CLASHES_SHOWN).map((each) => this.#clash(each));
    this.clashes.replaceChildren(...clashes);
    this.#drawTargets(view);
  }

  #drum(drum) {
    const name = (note) => this.#state.noteName(note);
    const songs = drum.songs.slice(0, 8).map((each) => {
      const [over] = each.bass;
      const tone = `chord ${name(each.chord_note)} ${signed(each.chord_cents, 0)}, scale ${name(each.scale_note)} ${signed(each.scale_cents, 0)}`;
      return el("li", {}, el("strong", {}, each.song), ` ${tone} · ${over.interval} over ${name(over.bass)}`);
    });
    return el(
      "section",
      { className: "kit-drum" },
      el("h3", {}, `${drum.drum}: ${name(drum.note)} ${signed(drum.cents, 0)} cents`),
      el("ul", {}, ...songs),
      drum.in_range ? "" : el("p", { className: "soft" }, `outside what is usual for its size, ${drum.low_hz.toFixed(0)} to ${drum.high_hz.toFixed(0)} Hz`),
    );
  }

  #clash(clash) {
    const over = clash.drum_partial === 2 ? "overtone" : "pitch";
    return el("li", {}, `${clash.song}: the ${clash.drum}'s ${over} and the bass on ${this.#state.noteName(clash.bass)} beat ${beats(clash.beat_hz)} times a second`);
  }

  #drawTargets(view) {
    const name = (note) => this.#state.noteName(note);
    const rows = view.targets.map((each) => {
      const row = el(
        "li",
        {},
        el("strong", {}, each.drum),
        el("span", { className: "back-verdict" }, each.verdict),
        el("span", {}, name(each.note)),
        el("span", { className: "soft" }, `${signed(each.move_cents, 0)} cents, ${signed(each.tension_percent, 0)} % tension`),
      );
      mark(row, "verdict", each.verdict);
      return row;
    });
    this.targets.replaceChildren(el("h3", {}, "where the kit could go"), el("ul", { className: "back-lugs" }, ...rows));
  }

  #song(song, fixed) {
    const words = el("span", {}, `${song.name}: ${song.key}, bass ${song.bass.map((each) => this.#state.noteName(each)).join(" ")}`);
    if (fixed) return el("li", {}, words);
    const drop = el("button", { type: "button", className: "stick", "aria-label": `without ${song.name}`, onclick: () => this.#setSongs(this.#songs.filter((each) => each !== song)) }, "out");
    return el("li", {}, words, drop);
  }

  #addSong(event) {
    event.preventDefault();
    const bass = this.bass.value.split(/[\s,;]+/).filter(Boolean);
    const song = { name: this.songName.value.trim(), key: `${this.tonic.value} ${this.scale.value}`, bass };
    this.#setSongs([...this.#songs, song]);
  }

  async #setSongs(songs) {
    await this.#change((code) => setKitSongs(songs, code), (told) => {
      this.#draw(told);
      this.sheet.body.scrollTop = 0; // what it comes to stands above
    });
  }

  async #putDrum(event) {
    event.preventDefault();
    const inches = (text) => (text.trim() ? Number(text.trim().replace(",", ".")) : null);
    const what = {
      name: this.name.value.trim(),
      player: this.#state.me?.id ?? "",
      kind: this.kind.value,
      diameter_in: inches(this.diameter.value),
      depth_in: inches(this.depth.value),
      pitch: this.pitch.value.trim() || "taps",
      keep: this.leave.checked,
    };
    await this.#change((code) => putDrum(what, code), async (told) => {
      this.#offerNames(told.drums);
      this.#draw(await kit());
    });
  }

  async #change(ask, then) {
    say(this.fault, "");
    try {
      const told = await withCode(ask);
      if (told) await then(told);
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
