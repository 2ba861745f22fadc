// What the page knows: the room's last snapshot, live readings, and whether the
// stream is alive. Old data never looks live: a reading lasts READING_LIFE_MS,
// and none outlives the stream.

import { memory } from "./memory.js";
import { noteIn, SYSTEMS } from "./names.js";
import { NOBODY } from "./words.js";

const READING_LIFE_MS = 1200;
const BEATS_LIFE_MS = 1600;
const STEADY_CENTS = 1; // a reading surer than this may stand for its instrument

export class State {
  room = null;
  link = "connecting"; // then "live", "lost", "paused"
  roomAt = null; // Date of the last snapshot
  settled = new Map(); // player id -> last sure pitch of an instrument that cannot be tuned here
  full = 0; // how many streams the station serves, when that is why there is none for us
  #live = new Map();
  #taps = new Map(); // player id -> a drummer's taps, told since the last snapshot
  #heads = new Map(); // player id -> a drummer's head pass, told since the last snapshot
  #strums = new Map(); // player id -> a strum told since the last snapshot
  #beats = new Map(); // player id -> how two strings beat now
  #listeners = [];
  #timer = 0;

  /** Call `listener(what)` after each change; what is "room", "reading", "link" or "me". */
  onChange(listener) {
    this.#listeners.push(listener);
  }

  setRoom(room) {
    const before = this.room?.reference.set_at;
    this.room = room;
    this.roomAt = new Date();
    if (before !== undefined && before !== room.reference.set_at) this.settled.clear();
    this.#keepNewerHeads(room);
    this.#keepNewerStrums(room);
    for (const player of room.players) {
      this.#keepNewerTaps(player);
      if (player.now && !this.#live.has(player.id)) this.#hold(player.id, player.now);
    }
    this.#tell("room");
  }

  setReading(reading) {
    if (reading.player === null || !this.room) return;
    this.#hold(reading.player, reading);
    this.#tell("reading");
  }

  /** A note that has ended: its settled pitch is what an instrument of fixed pitch asks for. */
  setNote(note) {
    if (note.player === null || !this.room || this.link !== "live") return;
    this.#settle(note.player, note);
    this.#tell("reading");
  }

  /** A drummer's taps after a stroke, or after they were forgotten. */
  setStroke({ player, taps, head }) {
    if (head) {
      this.#setHead(player, head);
      return;
    }
    const whose = this.link === "live" ? this.player(player) : null;
    if (!whose?.taps || taps.changes < whose.taps.changes) return;
    whose.taps = taps;
    this.#taps.set(player, taps);
    this.#tell("reading");
  }

  /** A drummer's head pass, and the two heads compared, as the station answered a change. */
  setHeadNow(player, { told, head, both }) {
    const heads = this.room?.heads;
    if (!heads || told < heads.told) return;
    heads.told = told;
    this.#heads.delete(player);
    if (head) heads.passes[player] = head;
    else delete heads.passes[player];
    if (both) heads.both[player] = both;
    else delete heads.both[player];
    this.#tell("reading");
  }

  /** What a player has open on the bench, or null. */
  opened(playerId) {
    return this.room?.bench?.open[playerId] ?? null;
  }

  /** How two strings of a player's beat now, or null when nothing sounds. */
  beats(playerId) {
    return this.#beats.get(playerId)?.reading ?? null;
  }

  /** A strum on the line of a player who has that open. */
  setStrum(strum) {
    const opened = this.link === "live" ? this.opened(strum.player) : null;
    if (!opened || strum.told < this.room.bench.told) return;
    this.#strums.set(strum.player, strum);
    opened.strum = strum;
    this.#tell("reading");
  }

  /** Two strings, four times a second while they sound. */
  setBeats(reading) {
    if (this.link !== "live" || !this.opened(reading.player)) return;
    clearTimeout(this.#beats.get(reading.player)?.timer);
    const timer = setTimeout(() => this.#beats.delete(reading.player) && this.#tell("reading"), BEATS_LIFE_MS);
    this.#beats.set(reading.player, { reading, timer });
    this.#tell("reading");
  }

  /** What a player has open, as the station answered a change. */
  setBenchNow(player, { told, open }) {
    const bench = this.room?.bench;
    if (!bench || told < bench.told) return;
    bench.told = told;
    this.#strums.delete(player);
    clearTimeout(this.#beats.get(player)?.timer);
    this.#beats.delete(player);
    if (open) bench.open[player] = open;
    else delete bench.open[player];
    this.#tell("reading");
  }

  setLink(link) {
    if (this.link === link) return;
    this.link = link;
    if (link === "live") this.full = 0;
    else {
      this.#live.clear();
      this.settled.clear();
      this.#taps.clear();
      this.#heads.clear();
      this.#strums.clear();
      this.#beats.clear();
    }
    document.documentElement.dataset.link = link;
    this.#tell("link");
  }

  setFull(streams) {
    if (this.full === streams) return;
    this.full = streams;
    this.#tell("link");
  }

  /** The player's reading now, or null when nothing sounds or the stream is down. */
  now(playerId) {
    return this.#live.get(playerId)?.reading ?? null;
  }

  player(playerId) {
    return this.room?.players.find((each) => each.id === playerId) ?? null;
  }

  /** The player whose phone this is, or null: then it is a screen for all. */
  get me() {
    return this.player(memory.me);
  }

  /** This phone is that player's from now on; "" for nobody's. */
  chooseMe(id) {
    memory.me = id;
    this.#tell("me");
    this.#tell("room");
  }

  /** Who asks for a change: a player's id, or that it was somebody on the page. */
  get by() {
    return this.me?.id ?? NOBODY;
  }

  /** Players by their names, its owner as "you". */
  named(ids) {
    return ids.map((id) => (id === memory.me ? "you" : (this.player(id)?.name ?? id)));
  }

  line(number) {
    return this.room?.lines.find((each) => each.line === number) ?? null;
  }

  /** The naming system this phone's owner chose, or "" for the station's. */
  get ownNames() {
    return Object.hasOwn(SYSTEMS, memory.names) ? memory.names : "";
  }

  get stationNames() {
    return this.room?.station.note_names ?? "english";
  }

  chooseNames(system) {
    memory.names = system;
    this.#tell("room");
  }

  /** The station's "Eb2" as it is named on this phone. */
  noteName(note) {
    return noteIn(note, this.ownNames || this.stationNames);
  }

  #hold(playerId, reading) {
    if (this.link !== "live") return;
    this.#live.set(playerId, { reading, at: performance.now() });
    if (reading.uncertainty_cents <= STEADY_CENTS) this.#settle(playerId, reading);
    if (!this.#timer) this.#timer = setTimeout(() => this.#expire(), READING_LIFE_MS / 4);
  }

  // The station holds a snapshot back for a moment; a stroke may overtake it.
  #keepNewerTaps(player) {
    const told = this.#taps.get(player.id);
    if (told && player.taps && told.changes > player.taps.changes) player.taps = told;
    else this.#taps.delete(player.id);
  }

  #setHead(player, head) {
    const heads = this.link === "live" ? this.room?.heads : null;
    if (!heads || head.told < heads.told) return;
    heads.told = head.told;
    heads.passes[player] = head;
    this.#heads.set(player, head);
    this.#tell("reading");
  }

  #keepNewerHeads(room) {
    for (const [player, head] of this.#heads) {
      if (room.heads && head.told > room.heads.told) room.heads.passes[player] = head;
      else this.#heads.delete(player);
    }
  }

  #keepNewerStrums(room) {
    for (const [player, strum] of this.#strums) {
      const opened = room.bench?.open[player];
      if (opened && strum.told > room.bench.told) opened.strum = strum;
      else this.#strums.delete(player);
    }
  }

  #settle(playerId, pitch) {
    if (this.player(playerId)?.kind === "fixed") this.settled.set(playerId, pitch);
  }

  #expire() {
    this.#timer = 0;
    const oldest = performance.now() - READING_LIFE_MS;
    let gone = false;
    for (const [player, held] of this.#live) {
      if (held.at < oldest) gone = this.#live.delete(player);
    }
    if (this.#live.size) this.#timer = setTimeout(() => this.#expire(), READING_LIFE_MS / 4);
    if (gone) this.#tell("reading");
  }

  #tell(what) {
    for (const listener of this.#listeners) listener(what);
  }
}
