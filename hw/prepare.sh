# shellcheck shell=bash
# Gets this machine ready: Debian packages, a virtual environment, pinned Python
# packages. Sourced by hw/start.sh and tests/run.sh, which call
#
#   prepare station     what the station runs on
#   prepare tests       that, and what its tests need besides
#
# May be run again at any time, also twice at once: what is there already costs a
# second. Works on Debian 12 and 13 and on Raspberry Pi OS 12 and 13.

project=$(CDPATH="" cd -- "$(dirname -- "${BASH_SOURCE[0]}")/.." && pwd -P)
venv=$project/.venv
work=$project/.work
log=$work/prepare.log
system_python=/usr/bin/python3

# numpy, aubio and PyAudio come from Debian: an aubio built against another numpy
# than the one it meets ends the process when it is imported. setuptools and wheel
# do as well, so that installing the project itself fetches nothing.
station_packages=(
    python3-venv python3-numpy python3-aubio python3-pyaudio
    python3-setuptools python3-wheel
    portaudio19-dev libasound2-plugins
)
# Raspberry Pi OS patches gpiozero for its newest boards and alone has lgpio.
raspberry_packages=(python3-gpiozero python3-lgpio)
# The page is measured in a condensed font, as phones have one: fonts-dejavu-extra.
test_packages=(
    alsa-utils chromium fluidsynth fonts-dejavu-extra libatomic1 pulseaudio pulseaudio-utils
    shellcheck sonic-pi-samples systemd timgm6mb-soundfont
)

prepare() {
    local purpose=$1 extras="" mark missing=() lacking
    local packages=("${station_packages[@]}")
    if [[ $purpose == tests ]]; then
        packages+=("${test_packages[@]}")
        extras="[dev]"
    fi
    cd -- "$project" || return
    if on_raspberry_pi; then
        have_lists || ((EUID != 0)) || apt_get update --quiet=2
        mapfile -t -O "${#packages[@]}" packages < <(known_to_apt "${raspberry_packages[@]}")
    fi

    lacking=$(not_installed "${packages[@]}") || return
    [[ -z $lacking ]] || mapfile -t missing <<<"$lacking"
    if ((${#missing[@]} == 0)) && is_prepared "$purpose"; then
        return 0
    fi
    if ((${#missing[@]} > 0 && EUID != 0)); then
        ask_for_root "${missing[@]}"
        return 1
    fi
    open_work_folder || return

    # One set-up at a time in this folder. The steps themselves do not inherit
    # descriptor 9: a service that apt starts would hold the lock for ever.
    exec 9>"$work/prepare.lock"
    if ! flock --nonblock 9; then
        say "Another set-up is under way in this folder: waiting for it."
        flock 9
    fi
    prepare_locked "$purpose" "$extras" "${packages[@]}"
    local outcome=$?
    exec 9>&-
    return "$outcome"
}

prepare_locked() {
    local purpose=$1 extras=$2 missing=() lacking
    shift 2
    : >"$log"
    # Asked again: while we waited, the other set-up may have done it all.
    lacking=$(not_installed "$@") || return
    [[ -z $lacking ]] || mapfile -t missing <<<"$lacking"
    if ((${#missing[@]} > 0)); then
        install_packages "${missing[@]}" || return
    fi
    is_prepared "$purpose" && return 0
    if ! venv_serves; then
        step "Virtual environment" make_venv || return
    fi
    rm -f -- "$venv"/.prepared-*
    step "Python packages (a few minutes the first time)" install_python "$extras" || return
    mark=$(fingerprint)
    printf '%s\n' "$mark" >"$venv/.prepared-$purpose"
    hand_to_owner
}

# -- system packages -----------------------------------------------------

on_raspberry_pi() {
    [[ -e /etc/rpi-issue ]] || grep -qsi "raspberry pi" /proc/device-tree/model
}

# Without them apt knows no package: so it is on a machine that was never updated.
have_lists() {
    compgen -G "/var/lib/apt/lists/*_Packages*" >/dev/null
}

known_to_apt() {
    local package
    for package; do
        if apt-cache show "$package" >/dev/null 2>&1; then
            printf '%s\n' "$package"
        fi
    done
}

not_installed() {
    local present package
    if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
        complain "This needs Debian or Raspberry Pi OS: apt-get and dpkg-query were not found."
        return 1
    fi
    # dpkg-query fails for packages it has never heard of: they are not installed.
    # shellcheck disable=SC2016  # the braces are dpkg-query's own
    present=$(dpkg-query -W -f='${db:Status-Status} ${Package}\n' "$@" 2>/dev/null || true)
    for package; do
        grep -qxF "installed $package" <<<"$present" || printf '%s\n' "$package"
    done
}

install_packages() {
    say "System packages to install: $*"
    # A source of this machine's own may fail; what matters is whether the install works.
    step "Package lists" refresh_lists || say "  going on with the lists there are"
    step "System packages (some minutes)" apt_get install --yes --no-install-recommends "$@"
}

refresh_lists() {
    apt_get update
}

apt_get() {
    DEBIAN_FRONTEND=noninteractive apt-get -o DPkg::Lock::Timeout=600 "$@"
}

ask_for_root() {
    complain "These Debian packages are missing, and installing them takes root:" \
        "  $*" \
        "Run this, then start again as yourself:" \
        "  sudo apt-get update; sudo apt-get install --yes --no-install-recommends $*"
}

# -- Python packages -----------------------------------------------------

make_venv() {
    rm -rf -- "$venv" &&
        "$system_python" -m venv --system-site-packages "$venv"
}

# Made by this folder's scripts, for the system's Python, and not broken: a venv
# cannot be moved, and does not outlive a new release of the system.
venv_serves() {
    local running
    running=$("$system_python" -c 'import sys; print(*sys.version_info[:2])') || return
    grep -qsx "include-system-site-packages = true" "$venv/pyvenv.cfg" &&
        grep -qsF -- "$venv/bin/python" "$venv/bin/pip" &&
        [[ $("$venv/bin/python" -c 'import pip, sys; print(*sys.version_info[:2])' 2>/dev/null) == "$running" ]]
}

# A user's setting that would have pip install outside the venv is overruled; where
# pip fetches from is the user's own business.
install_python() {
    PIP_USER=0 PIP_NO_INPUT=1 PIP_DISABLE_PIP_VERSION_CHECK=1 \
        "$venv/bin/python" -m pip install --no-build-isolation --prefer-binary \
        --constraint hw/constraints.txt --editable ".$1" &&
        "$venv/bin/station" --version
}

# Changes when anything that decides what gets installed does.
fingerprint() {
    {
        cat pyproject.toml hw/constraints.txt hw/prepare.sh
        printf '%s\n' "$project"
        "$system_python" --version
    } | sha256sum | cut -d " " -f 1
}

# What the tests need contains what the station needs.
is_prepared() {
    local mark
    mark=$(fingerprint)
    venv_serves || return
    grep -qsx -- "$mark" "$venv/.prepared-tests" ||
        { [[ $1 == station ]] && grep -qsx -- "$mark" "$venv/.prepared-station"; }
}

# -- folders -------------------------------------------------------------

open_work_folder() {
    if ! mkdir -p -- "$work" 2>/dev/null || [[ ! -w $work || ! -w $project ]]; then
        complain "The folder $project cannot be written to by $(id -un)." \
            "Its .venv and .work are made there. Give it to yourself and start again:" \
            "  sudo chown -R $(id -u):$(id -g) ${project@Q}"
        return 1
    fi
    mkdir -p -- "$work/shots"
}

# Run with sudo in a user's own folder, what was made belongs to that user.
hand_to_owner() {
    if ((EUID == 0)) && [[ $(stat -c %u -- "$project") != 0 ]]; then
        find . -maxdepth 1 \( -name .venv -o -name .work -o -name "*.egg-info" \) \
            -exec chown -R --reference="$project" -- {} +
    fi
}

# -- what is said --------------------------------------------------------

say() {
    printf '%s\n' "$*"
}

complain() {
    printf '%s\n' "$@" >&2
}

# One line for a step: what it is, then how long it took. What it printed goes to
# the log, and its end is shown when it fails.
step() {
    local what=$1 began=$SECONDS
    shift
    printf '%s ... ' "$what"
    if "$@" >>"$log" 2>&1 </dev/null 9>&-; then
        printf '%d s\n' "$((SECONDS - began))"
    else
        printf 'failed\n'
        complain "$what failed. The end of $log:"
        tail -n 15 -- "$log" >&2
        return 1
    fi
}
