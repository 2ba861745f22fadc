"""How far players turned their pegs, and what was learned of it."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.pegs import AskPegs, ForgetPegs, Pegs, TellPeg
from station.web.models.words import PlayerAddress

_BASE = "/api/v1/players/<player_id>/pegs"


def add_peg_routes(api: Api, station: Station) -> None:
    """Routes of a player's pegs; every change answers with what is known of them now."""

    def known(path: PlayerAddress) -> Response:
        return jsonify(off_loop(station.pegs, path.player_id))

    @api.get(_BASE, "What is known of a player's pegs", Pegs)
    def pegs(path: PlayerAddress) -> Response:
        return known(path)

    @api.post(_BASE, "Say how far a peg went that was asked about", Pegs)
    def tell_peg(path: PlayerAddress, body: TellPeg) -> Response:
        off_loop(station.tell_peg, path.player_id, body.string, body.quarters)
        return known(path)

    @api.put(f"{_BASE}/asks", "Whether the player's phone may ask", Pegs)
    def ask_pegs(path: PlayerAddress, body: AskPegs) -> Response:
        off_loop(station.ask_pegs, path.player_id, body.asks)
        return known(path)

    @api.post(f"{_BASE}/forget", "Forget what was learned, of one string or of all", Pegs)
    def forget_pegs(path: PlayerAddress, body: ForgetPegs) -> Response:
        off_loop(station.forget_pegs, path.player_id, body.string)
        return known(path)
