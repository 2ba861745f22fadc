#!/usr/bin/env bash
# Makes this computer a station that starts with it, and undoes it again.
#
#   sudo bash systemd/box.sh install                 again at any time: repairs, or upgrades
#   sudo bash systemd/box.sh install --settings my.toml
#   sudo bash systemd/box.sh upgrade                 from the folder of the newer version
#   sudo bash systemd/box.sh uninstall               the band's settings and references stay
#   sudo bash systemd/box.sh uninstall --purge       they go as well
#        bash systemd/box.sh card                    sound cards and where they are plugged in
#   sudo bash systemd/box.sh card 1 lines            that socket's card is called "lines" from now on
#        bash systemd/box.sh hotspot                 shows a Wi-Fi of its own; changes nothing
#   sudo bash systemd/box.sh hotspot --yes           makes it; --off --yes takes it away
#
# Works on Raspberry Pi OS 12 and 13 and on Debian 12 and 13. With DESTDIR its files go
# below that folder: that is how tests try it.
set -uo pipefail

# shellcheck source=hw/prepare.sh
source "$(dirname -- "${BASH_SOURCE[0]}")/../hw/prepare.sh"

name=rehearsal-room-station
root=${DESTDIR-}
base=$root/opt/$name
etc=$root/etc/$name
settings=$etc/settings.toml
made=$base/made
unit=$root/etc/systemd/system/$name.service
avahi=$root/etc/avahi/services/$name.service
rule=$root/etc/udev/rules.d/85-$name.rules
state=("$root/var/lib/private/$name" "$root/var/lib/$name")
readers=rehearsal-room-settings
hotspot=rehearsal-room-hotspot
taken=(station hw systemd pyproject.toml README.md LICENSE)

main() {
    local command=${1-}
    (($# == 0)) || shift
    case $command in
        install | upgrade | uninstall | card | hotspot) "do_$command" "$@" ;;
        help | --help | -h) usage ;;
        *)
            usage >&2
            return 2
            ;;
    esac
}

usage() {
    sed -n '2,/^$/ { /^# Works/,$ d; s/^# \{0,1\}//; p }' "${BASH_SOURCE[0]}"
}

# -- install and upgrade -------------------------------------------------

do_install() {
    local given="" slot old="" start=yes
    while (($# > 0)); do
        case $1 in
            --settings)
                given=${2-}
                [[ -r $given ]] || refuse "no settings file to read: ${given:-none was named}" || return
                shift
                ;;
            --no-start) start=no ;;
            *) refuse "install does not know $1: --settings FILE and --no-start are all" || return ;;
        esac
        shift
    done
    need_root install || return
    umask 022
    mkdir -p -- "$base" && exec 8<"$base" || return
    flock --nonblock 8 || refuse "another set-up of this box is under way: wait for its end" || return

    old=$(readlink -- "$base/current" 2>/dev/null)
    slot=$base/$([[ $old == a ]] && echo b || echo a)
    note_missing_packages
    put_files "$slot" && settings_hold "$slot" "${given:-$settings}" || return
    make_groups && make_settings "$slot" "$given" || return
    switch_to "${slot##*/}" && put_unit && put_avahi "$slot" || return
    say_lamps "$slot"
    start_or_go_back "$slot" "$start" "$old" || return
    [[ -z $old ]] || rm -rf -- "${base:?}/$old"
    say_where "$slot"
}

do_upgrade() {
    [[ -e $base/current ]] ||
        refuse "nothing is installed in $base: 'install' does that" || return
    do_install "$@"
}

# Into a folder beside the one that runs: until it is complete nothing changes, and a
# power cut leaves the old one as it was.
put_files() {
    local slot=$1
    rm -rf -- "$slot"
    mkdir -p -- "$slot" || return
    (cd -- "$project" &&
        tar --exclude=__pycache__ --exclude="*.egg-info" -cf - -- "${taken[@]}" |
        tar --no-same-owner -C "$slot" -xf -) &&
        chmod -R u=rwX,go=rX -- "$slot" || return
    # pip's cache would be left behind in root's home.
    # shellcheck disable=SC2016  # $1 is the inner shell's
    PIP_NO_CACHE_DIR=1 bash -c 'source "$1/hw/prepare.sh" && prepare station' _ "$slot" \
        8<&- || return
    # The service may not write its own folder: what Python would keep is made now.
    "$slot/.venv/bin/python" -m compileall -q "$slot/station"
}

note_missing_packages() {
    local missing=() wanted=("${station_packages[@]}")
    ! on_raspberry_pi || wanted+=("${raspberry_packages[@]}")
    mapfile -t missing < <(not_installed "${wanted[@]}" 2>/dev/null)
    ((${#missing[@]} == 0)) || printf 'package %s\n' "${missing[@]}" >>"$made"
}

make_groups() {
    local group
    for group in gpio "$readers"; do
        getent group "$group" >/dev/null && continue
        groupadd --system "$group" || return
        printf 'group %s\n' "$group" >>"$made"
    done
}

# Settings that are there are the band's: never touched, but for who may read them.
make_settings() {
    local slot=$1 given=$2 code
    install -d -m 755 -- "$etc" || return
    if [[ -n $given ]]; then
        [[ ! -e $settings ]] || cp -p -- "$settings" "$settings.before" || return
        install -m 640 -- "$given" "$settings" || return
    elif [[ ! -e $settings ]]; then
        code=$("$slot/.venv/bin/python" -c \
            'from station.settings import make_room_code; print(make_room_code())') || return
        sed "s/^room_code = .*/room_code = \"$code\"/" "$slot/station/settings_example.toml" |
            install -m 640 /dev/stdin "$settings" || return
        say "Settings with example players: $settings. The room code is $code."
    fi
    chgrp "$readers" "$settings" && chmod 640 "$settings"
}

# Looked at before anything of what runs now is touched. None there: none that fail.
settings_hold() {
    [[ -e $2 ]] || return 0
    "$1/.venv/bin/station" settings --config "$2" >/dev/null && return
    rm -rf -- "$1"
    refuse "The settings $2 do not hold for this version: mend them and start again." \
        "What ran until now runs on."
}

switch_to() {
    ln -sfn -- "$1" "$base/next" && mv -fT -- "$base/next" "$base/current"
}

put_unit() {
    install -D -m 644 -- "$base/current/systemd/$name.service" "$unit"
}

put_avahi() {
    local port
    if [[ ! -d ${avahi%/*} ]]; then
        say "No avahi here: phones find the page by its address or QR code, not in a list of services."
        return 0
    fi
    port=$("$1/.venv/bin/python" -c 'import sys; from pathlib import Path
from station.settings import load_settings
print(load_settings(Path(sys.argv[1])).page.port)' "$settings") || return
    sed "s|<port>.*</port>|<port>$port</port>|" "$base/current/systemd/avahi.service" |
        install -m 644 /dev/stdin "$avahi"
}

say_lamps() {
    local folder
    folder=$(mktemp -d) || return
    if ! (cd -- "$folder" && LG_WD=$folder "$1/.venv/bin/python" -c "import lgpio") 2>/dev/null; then
        say "Lamps stay dark on this system: its archive has no python3-lgpio, or it is not" \
            "installed (Raspberry Pi OS has it). Everything else works."
    fi
    rm -rf -- "$folder"
}

systemd_runs() {
    [[ -z $root && -d /run/systemd/system ]]
}

# The service is Type=notify: that it has started means that its page answers.
start_or_go_back() {
    local slot=$1 start=$2 old=$3
    systemctl ${root:+--root="$root"} --quiet enable "$name" || return
    if [[ $start == no ]] || ! systemd_runs; then
        say "It starts with this computer."
        return 0
    fi
    systemctl daemon-reload && systemctl reset-failed "$name" 2>/dev/null
    if systemctl restart "$name"; then
        return 0
    fi
    complain "The service did not get ready. What it said:"
    journalctl --unit "$name" --no-pager --output cat --lines 15 >&2
    if [[ -n $old && -d $base/$old ]]; then
        switch_to "$old" && put_unit && rm -rf -- "$slot" && systemctl daemon-reload &&
            systemctl restart "$name" && complain "The version before runs again."
    fi
    return 1
}

say_where() {
    say "Installed in $base. Settings: $settings; after a change: sudo systemctl restart $name" \
        "(after a change of the port: install again)."
    say "How it is: systemctl status $name. What is wrong, with the remedy:" \
        "sudo $base/current/.venv/bin/station check --config $settings"
}

# -- uninstall -----------------------------------------------------------

do_uninstall() {
    local purge=no kind what packages=()
    case ${1-} in
        "") ;;
        --purge) purge=yes ;;
        *) refuse "uninstall does not know $1: --purge is all" || return ;;
    esac
    need_root uninstall || return
    if [[ -e $unit ]]; then
        ! systemd_runs || systemctl stop "$name"
        systemctl ${root:+--root="$root"} --quiet disable "$name"
    fi
    ! has_hotspot || nmcli connection delete "$hotspot"
    if [[ -e $made ]]; then
        while read -r kind what; do
            [[ $kind != package ]] || packages+=("$what")
            [[ $kind == group && $what != "$readers" ]] && groupdel "$what"
        done <"$made"
    fi
    rm -rf -- "$unit" "$avahi" "$base"
    if [[ -e $rule ]]; then
        rm -f -- "$rule"
        ! systemd_runs || udevadm control --reload
    fi
    if systemd_runs; then
        systemctl daemon-reload
        systemctl reset-failed "$name" 2>/dev/null
    fi
    if [[ $purge == yes ]]; then
        rm -rf -- "$etc" "${state[@]}" "$unit.d"
        ! getent group "$readers" >/dev/null || groupdel "$readers"
        say "The station, its settings and all it kept are gone."
    else
        say "The station is gone. What is the band's stays: ${settings%/*} and ${state[1]}." \
            "To remove that as well: sudo bash systemd/box.sh uninstall --purge"
    fi
    ((${#packages[@]} == 0)) || say "Debian packages that were installed for it stay. To remove" \
        "them, if nothing else needs them: sudo apt-get purge --autoremove ${packages[*]}"
}

# -- the sound card by its socket ----------------------------------------

do_card() {
    local number=${1-} called=${2-lines} path
    if [[ -z $number ]]; then
        list_cards
        return
    fi
    need_root card || return
    [[ $called =~ ^[A-Za-z][A-Za-z0-9_]{0,14}$ ]] ||
        refuse "$called cannot be a card's name: a letter, then at most 14 letters, digits or _" || return
    path=$(usb_path "$number")
    [[ -n $path ]] ||
        refuse "card $number is not on USB, or not there: its own name is stable (station check)" || return
    sed -e "s|@PATH@|$path|; s|@NAME@|$called|" "$project/systemd/card.rules" |
        install -D -m 644 /dev/stdin "$rule" || return
    if systemd_runs; then
        udevadm control --reload && udevadm trigger --action=add "/sys/class/sound/card$number"
    fi
    say "The card in that socket ($path) is called $called from now on." \
        "In the settings: device = \"hw:CARD=$called,DEV=0\""
}

list_cards() {
    local card number path
    for card in "$root"/sys/class/sound/card*; do
        if [[ ! -e $card/id ]]; then
            say "No sound card is here."
            return
        fi
        number=${card##*card}
        path=$(usb_path "$number")
        say "card $number  $(<"$card/id")  ${path:-not on USB}"
    done
}

# As udev's path_id says it: the same in the same socket, whatever is plugged in first.
usb_path() {
    udevadm info --query=property --path="/sys/class/sound/card$1" 2>/dev/null |
        sed -n 's/^ID_PATH=\(.*-usb-.*\)$/\1/p'
}

# -- a Wi-Fi of its own --------------------------------------------------

do_hotspot() {
    local ssid="Rehearsal room" password="" yes=no off=no device recipe=()
    while (($# > 0)); do
        case $1 in
            --name) ssid=${2-} && shift ;;
            --password) password=${2-} && shift ;;
            --yes) yes=yes ;;
            --off) off=yes ;;
            *) refuse "hotspot does not know $1: --name, --password, --off and --yes are all" || return ;;
        esac
        shift
    done
    # IEEE 802.11: a network's name has 1 to 32 bytes, a WPA passphrase 8 to 63 (from memory).
    local LC_ALL=C
    ((${#ssid} >= 1 && ${#ssid} <= 32)) || refuse "a Wi-Fi's name has 1 to 32 bytes" || return
    [[ -z $password ]] || ((${#password} >= 8 && ${#password} <= 63)) ||
        refuse "the password has ${#password} characters: 8 to 63 are allowed" || return
    if [[ $off == yes ]]; then
        recipe=(nmcli connection delete "$hotspot")
    else
        [[ -n $password ]] || password=$(made_up_password)
        device=$(wifi_device)
        recipe=(nmcli connection add type wifi con-name "$hotspot" ifname "${device:-wlan0}"
            ssid "$ssid" 802-11-wireless.mode ap 802-11-wireless.band bg
            wifi-sec.key-mgmt wpa-psk wifi-sec.proto rsn wifi-sec.psk "$password"
            ipv4.method shared ipv6.method disabled
            connection.autoconnect yes connection.autoconnect-priority -100)
    fi
    if [[ $yes == no ]]; then
        say "Nothing has been changed. This is what --yes would do:"
        say "  ${recipe[*]@Q}"
        return 0
    fi
    need_root hotspot || return
    command -v nmcli >/dev/null ||
        refuse "nmcli was not found: this needs NetworkManager" || return
    if [[ $off == no ]]; then
        [[ -n $device ]] || refuse "NetworkManager knows no Wi-Fi device here" || return
        ! has_hotspot ||
            refuse "there is such a Wi-Fi already: 'hotspot --off --yes' takes it away" || return
    fi
    "${recipe[@]}" || return
    [[ $off == yes ]] || say "Wi-Fi \"$ssid\", password $password. It is used when no known" \
        "network is in reach at the start; now: sudo nmcli connection up $hotspot"
}

has_hotspot() {
    [[ -z $root ]] && command -v nmcli >/dev/null &&
        nmcli --terse --fields NAME connection show 2>/dev/null | grep -qxF "$hotspot"
}

wifi_device() {
    nmcli --terse --fields DEVICE,TYPE device 2>/dev/null | sed -n '/:wifi$/ { s/:wifi$//; p; q }'
}

made_up_password() {
    # Letters and digits that no one takes for one another.
    LC_ALL=C tr -dc "abcdefghjkmnpqrstuvwxyz23456789" </dev/urandom | head -c 12
}

# -- what is said --------------------------------------------------------

need_root() {
    ((EUID == 0)) || refuse "this takes root: sudo bash systemd/box.sh $1"
}

refuse() {
    complain "$*"
    return 1
}

main "$@"
