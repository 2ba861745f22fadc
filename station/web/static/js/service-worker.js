// Keeps the page's shell so that it opens while the station is away. The network
// comes first, so a new version shows at once; nothing of the room is ever kept.

const CACHE = "station-shell";
const SHELL = [
  "/",
  "/manifest.webmanifest",
  "/static/css/asks.css",
  "/static/css/band.css",
  "/static/css/base.css",
  "/static/css/bench.css",
  "/static/css/drums.css",
  "/static/css/everyone.css",
  "/static/css/heads.css",
  "/static/css/measured.css",
  "/static/css/quiet.css",
  "/static/css/reference.css",
  "/static/css/sheets.css",
  "/static/css/small.css",
  "/static/css/songs.css",
  "/static/css/strings.css",
  "/static/css/tone.css",
  "/static/icons/icon.svg",
  "/static/js/api.js",
  "/static/js/asking.js",
  "/static/js/axis.js",
  "/static/js/band_view.js",
  "/static/js/bench_menu.js",
  "/static/js/both_heads_sheet.js",
  "/static/js/clock_facts.js",
  "/static/js/compromise_sheet.js",
  "/static/js/dom.js",
  "/static/js/drift_words.js",
  "/static/js/damping_sheet.js",
  "/static/js/damping_words.js",
  "/static/js/drum_axis.js",
  "/static/js/drum_menu.js",
  "/static/js/drum_plot.js",
  "/static/js/drum_strokes.js",
  "/static/js/drum_tails.js",
  "/static/js/drum_view.js",
  "/static/js/drum_words.js",
  "/static/js/drums_sheet.js",
  "/static/js/everyone_view.js",
  "/static/js/field.js",
  "/static/js/frame.js",
  "/static/js/gauge_sheet.js",
  "/static/js/gap_bar.js",
  "/static/js/head_plan.js",
  "/static/js/head_sheets.js",
  "/static/js/head_view.js",
  "/static/js/head_words.js",
  "/static/js/health_sheet.js",
  "/static/js/hear_sheet.js",
  "/static/js/history_sheet.js",
  "/static/js/instrument_sheet.js",
  "/static/js/instrument_words.js",
  "/static/js/keep_sheet.js",
  "/static/js/kit_sheet.js",
  "/static/js/ladder.js",
  "/static/js/main.js",
  "/static/js/measuring_panel.js",
  "/static/js/memory.js",
  "/static/js/names.js",
  "/static/js/names_choice.js",
  "/static/js/note_marks.js",
  "/static/js/offsets.js",
  "/static/js/offsets_fields.js",
  "/static/js/pair_pulse.js",
  "/static/js/pair_sheet.js",
  "/static/js/peg_bar.js",
  "/static/js/peg_fields.js",
  "/static/js/peg_words.js",
  "/static/js/pitch_axis.js",
  "/static/js/proposal_card.js",
  "/static/js/proposals.js",
  "/static/js/proposing.js",
  "/static/js/pulse.js",
  "/static/js/quiet_button.js",
  "/static/js/reference_form.js",
  "/static/js/reference_view.js",
  "/static/js/rim.js",
  "/static/js/room_code.js",
  "/static/js/row_drag.js",
  "/static/js/saddle_sheet.js",
  "/static/js/shapes.js",
  "/static/js/sheet.js",
  "/static/js/song_bar.js",
  "/static/js/song_sheet.js",
  "/static/js/song_words.js",
  "/static/js/songs_file.js",
  "/static/js/songs_view.js",
  "/static/js/stands.js",
  "/static/js/state.js",
  "/static/js/station_facts.js",
  "/static/js/stave.js",
  "/static/js/stream.js",
  "/static/js/strings_view.js",
  "/static/js/strum_sheet.js",
  "/static/js/tone_caution.js",
  "/static/js/tone_notes.js",
  "/static/js/tone_pitch.js",
  "/static/js/tone_player.js",
  "/static/js/tone_sheet.js",
  "/static/js/tuning_form.js",
  "/static/js/turn_bar.js",
  "/static/js/under_way.js",
  "/static/js/words.js",
];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  const ours = url.origin === location.origin && SHELL.includes(url.pathname);
  if (event.request.method === "GET" && ours) event.respondWith(freshOrKept(event.request, url.pathname));
});

async function freshOrKept(request, path) {
  const cache = await caches.open(CACHE);
  try {
    const answer = await fetch(request);
    if (answer.ok) await cache.put(path, answer.clone());
    return answer;
  } catch (error) {
    const kept = await cache.match(path);
    if (kept) return kept;
    throw error;
  }
}
