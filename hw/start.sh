#!/usr/bin/env bash
# Prepares this machine where needed and starts the station: on the line input when
# there is a settings file, else with the simulated band.
#
#   bash hw/start.sh                          decide by what is there
#   bash hw/start.sh --config my.toml         with these settings
#   bash hw/start.sh demo --port 9000         any command of the station
set -uo pipefail

# Options may name files: they count from the folder the user stands in.
started_in=$PWD
# shellcheck source=hw/prepare.sh
source "$(dirname -- "${BASH_SOURCE[0]}")/prepare.sh"

main() {
    prepare station || exit 1
    cd -- "$started_in" || exit 1
    if (($# > 0)) && [[ $1 != -* || $1 == --help || $1 == -h || $1 == --version ]]; then
        exec "$venv/bin/station" "$@"
    fi
    choose_command "$@"
    exec "$venv/bin/station" "${chosen[@]}" "$@"
}

# Sets `chosen` to the command, and the settings file where one was found. Whoever
# wrote settings wants their own band, never a simulated one.
choose_command() {
    local settings="" found=()
    settings=$(given_settings "$@")
    if [[ -z $settings ]]; then
        settings=$(found_settings)
        [[ -z $settings ]] || found=(--config "$settings")
    fi
    if [[ -n $settings ]]; then
        say "Listening as $settings says."
        has_capture_device ||
            say "There is no sound card with an input yet: it is taken up when it is plugged in."
        chosen=(run "${found[@]}")
        return
    fi
    chosen=(demo)
    if has_capture_device; then
        say "There is a sound card with an input, but no settings that say who plays into it:" \
            "starting the simulated band."
        say "To listen, copy station/settings_example.toml to settings.toml beside it in" \
            "$project, adapt it and start again."
    else
        say "No sound card with an input: starting the simulated band."
    fi
}

given_settings() {
    while (($# > 0)); do
        case $1 in
            --config) printf '%s\n' "${2-}" && return ;;
            --config=*) printf '%s\n' "${1#--config=}" && return ;;
        esac
        shift
    done
}

found_settings() {
    local file
    for file in "$project/settings.toml" /etc/rehearsal-room-station/settings.toml; do
        if [[ -r $file ]]; then
            printf '%s\n' "$file"
            return
        fi
    done
}

# The kernel names a capture device pcmC<card>D<device>c (from memory).
has_capture_device() {
    compgen -G "/dev/snd/pcmC*D*c" >/dev/null
}

main "$@"
