// One song, to write down, to change and to begin: what everybody plays in it, and the drums.

import { addSong, changeSong, instruments, nextSong, removeSong, setups } from "./api.js";
import { el, say } from "./dom.js";
import { withCode } from "./room_code.js";
import { faultLine, Sheet } from "./sheet.js";

const HIGHEST_CAPO = 12;
const SETUP = /^([^: ]+)(?::(.+?))?(?: capo (\d+))?$/;

/** What one player plays: a tuning of an instrument they have or had, and a capo. */
class PlayerFields {
  constructor(player) {
    this.player = player;
    this.setup = el("select", { "aria-label": `${player.name} plays` });
    this.capo = el("select", { "aria-label": `${player.name}'s capo` });
    this.capo.append(el("option", { value: "0" }, "no capo"));
    for (let fret = 1; fret <= HIGHEST_CAPO; fret += 1) this.capo.append(el("option", { value: String(fret) }, `capo ${fret}`));
    this.setup.onchange = () => this.#follow();
    this.node = el("div", { className: "song-player" }, el("span", { className: "soft" }, player.name), this.setup, this.capo);
  }

  /** Offer what there is and choose what `text` says. */
  offer(known, had, text) {
    const [, instrument, tuning, capo] = SETUP.exec(text ?? "") ?? [];
    const keys = new Set([this.player.instrument, ...had.map((each) => each.instrument), instrument].filter((key) => key in known));
    this.setup.replaceChildren(
      el("option", { value: "" }, "as usual"),
      ...[...keys].map((key) => el("optgroup", { label: known[key].label }, ...this.#tunings(key, known[key]))),
    );
    const wanted = instrument ? (tuning ? `${instrument}:${tuning}` : instrument) : "";
    // What the station knows and this list does not is kept as it is.
    if (![...this.setup.options].some((option) => option.value === wanted)) this.setup.append(el("option", { value: wanted }, wanted));
    this.setup.value = wanted;
    this.capo.value = capo ?? "0";
    this.#follow();
  }

  get text() {
    const { value } = this.setup;
    if (!value) return "";
    return this.capo.value === "0" || this.capo.disabled ? value : `${value} capo ${this.capo.value}`;
  }

  #tunings(key, told) {
    const tunings = Object.entries(told.tunings);
    if (!tunings.length) return [el("option", { value: key }, told.label)];
    return tunings.map(([name, label]) => el("option", { value: `${key}:${name}` }, label.label ?? label));
  }

  #follow() {
    this.capo.disabled = !this.setup.value.includes(":");
  }
}

export class SongSheet {
  #state;
  #onTold;
  #song = null;
  #players = [];

  /** `onTold` is called with the whole order after every change. */
  constructor(state, onTold) {
    this.#state = state;
    this.#onTold = onTold;
    const field = (label, maxLength, placeholder = "") => {
      const input = el("input", { maxLength, placeholder, autocomplete: "off" });
      return { input, node: el("label", {}, el("span", {}, label), input) };
    };
    this.title = field("title", 60);
    this.key = field("key", 30, "E minor");
    this.bass = field("bass roots", 60, "E1 A1 B1");
    this.notes = field("notes", 160);
    this.drums = field("drums", 200, "floor tom G2; rack tom C3");
    this.players = el("div", { className: "song-players" });
    this.fault = faultLine();
    const form = el("form", { noValidate: true, onsubmit: (event) => this.#submit(event) },
      this.title.node,
      el("div", { className: "song-two" }, this.key.node, this.bass.node),
      this.notes.node, this.players, this.drums.node,
      el("button", { className: "only-spoken", tabIndex: -1 }, "keep"));
    this.remove = el("button", { type: "button", onclick: () => this.#remove() }, "take it out");
    this.begin = el("button", { type: "button", className: "song-begin", onclick: () => this.#begin() }, "this song is on now");
    const keep = el("button", { type: "button", className: "main", onclick: () => form.requestSubmit() }, "keep it");
    this.sheet = new Sheet("Song", [this.begin, form], [this.fault, el("div", { className: "buttons" }, this.remove, keep)]);
  }

  /** A song of the order, or null for a new one. */
  async open(song) {
    this.#song = song;
    this.sheet.setTitle(song ? song.title : "New song");
    say(this.fault, "");
    this.title.input.value = song?.title ?? "";
    this.key.input.value = song?.key ?? "";
    this.bass.input.value = song?.bass.join(" ") ?? "";
    this.notes.input.value = song?.notes ?? "";
    this.drums.input.value = Object.entries(song?.drums ?? {}).map(([name, note]) => `${name} ${note}`).join("; ");
    this.remove.hidden = this.begin.hidden = !song;
    this.#players = this.#state.room.players.map((player) => new PlayerFields(player));
    this.players.replaceChildren(...this.#players.map((each) => each.node));
    this.#offer({}, []);
    this.sheet.open();
    try {
      const known = await instruments();
      const had = await Promise.all(this.#players.map((each) => setups(each.player.id)));
      this.#offer(known, had.map((told) => told.setups));
    } catch (error) {
      say(this.fault, error.message);
    }
  }

  #offer(known, had) {
    this.#players.forEach((each, place) => each.offer(known, had[place] ?? [], this.#song?.players[each.player.id]));
  }

  get #written() {
    const players = Object.fromEntries(this.#players.filter((each) => each.text).map((each) => [each.player.id, each.text]));
    return {
      title: this.title.input.value,
      key: this.key.input.value,
      bass: this.bass.input.value,
      notes: this.notes.input.value,
      drums: this.drums.input.value,
      players,
    };
  }

  #submit(event) {
    event.preventDefault();
    const song = this.#written;
    this.#change((code) => (this.#song ? changeSong(this.#song.id, song, this.#state.by, code) : addSong(song, this.#state.by, code)));
  }

  #remove() {
    this.#change((code) => removeSong(this.#song.id, this.#state.by, code));
  }

  #begin() {
    this.#change((code) => nextSong({ song: this.#song.id }, this.#state.by, code));
  }

  async #change(act) {
    say(this.fault, "");
    try {
      const told = await withCode(act);
      if (told?.songs) this.#onTold(told);
      if (told !== null) this.sheet.close();
    } catch (error) {
      say(this.fault, error.message);
    }
  }
}
