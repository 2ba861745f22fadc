#!/usr/bin/env bash
# Tries systemd/box.sh in a fresh Debian: install, smoke test, again, upgrade, uninstall,
# purge, and what is left. Then starts that Debian with its own systemd, in namespaces
# of its own, and tries the service there (boot_root.sh).
#
#   sudo bash tests/bench/try_install.sh bookworm /var/tmp/root-bookworm
#   sudo bash tests/bench/try_install.sh trixie /var/tmp/root-trixie
#   sudo bash tests/bench/try_install.sh trixie /var/tmp/root-arm64 arm64    under qemu-user
#
# Needs root, debootstrap and an archive to fetch from. The folder is made where it is
# not there, and kept. TRY_COPY names files of this machine that the root needs to reach
# its archives (a certificate, a setting of apt's); TRY_ONLY=boot leaves out the first
# half. Prints what it finds, and ends with 1 where something is not as it should be.
set -uo pipefail

suite=${1:?suite}
root=${2:?folder}
arch=${3:-$(dpkg --print-architecture)}
here=$(CDPATH="" cd -- "$(dirname -- "${BASH_SOURCE[0]}")" && pwd -P)
project=$(CDPATH="" cd -- "$here/../.." && pwd -P)
inside=/var/tmp/try
base=/opt/rehearsal-room-station
settings=/etc/rehearsal-room-station/settings.toml
kept=/var/lib/private/rehearsal-room-station/room.sqlite
failures=0

main() {
    [[ -e $root/etc/debian_version ]] || make_root || exit 1
    if [[ ${TRY_MOUNTED-} != yes ]]; then
        # What is mounted below here is gone with this process.
        TRY_MOUNTED=yes exec unshare --mount --fork -- bash "${BASH_SOURCE[0]}" "$suite" "$root" "$arch"
    fi
    mount_all || exit 1
    copy_project
    say "== $suite, $arch: $(sed -n 's/^PRETTY_NAME="\(.*\)"/\1/p' "$root/etc/os-release")"
    packages
    if [[ ${TRY_ONLY-} != boot ]]; then
        first_install
        again
        upgrade
        broken_settings
        uninstall
        purge
    fi
    if [[ $arch == "$(dpkg --print-architecture)" ]]; then
        boot
    else
        say "-- not started with systemd: that needs a machine of this kind"
    fi
    ((failures == 0)) || { say "$failures checks failed" && exit 1; }
    say "All well."
}

make_root() {
    mkdir -p -- "$root" || return
    if ! debootstrap --arch="$arch" --variant=minbase \
        --include=ca-certificates,systemd,systemd-sysv,dbus,libnss-systemd,udev \
        "$suite" "$root" >"$root.log" 2>&1; then
        tail -n 5 -- "$root.log"
        return 1
    fi
}

mount_all() {
    local file
    mount --make-rprivate / && mount -t proc proc "$root/proc" && mount -t tmpfs tmpfs "$root/run" &&
        mount -t tmpfs -o mode=755 tmpfs "$root/dev" && bash "$here/devices.sh" "$root/dev" || return
    for file in /etc/resolv.conf ${TRY_COPY-}; do
        cp -L --parents -- "$file" "$root"
    done
}

copy_project() {
    rm -rf -- "${root:?}$inside" && mkdir -p "$root$inside/project"
    tar -C "$project" --exclude=__pycache__ --exclude=.venv --exclude=.work --exclude=.git \
        --exclude="*.egg-info" --exclude=".*_cache" --exclude=.hypothesis -cf - . |
        tar --no-same-owner -C "$root$inside/project" -xf -
}

packages() {
    in_root bash -c "source $inside/project/hw/prepare.sh; log=/var/tmp/try/packages.log
        packages=(\"\${station_packages[@]}\" \$(apt-get update -qq; known_to_apt python3-lgpio libbpf1))
        mapfile -t missing < <(not_installed \"\${packages[@]}\")
        ((\${#missing[@]} == 0)) || install_packages \"\${missing[@]}\""
    check "apt's numpy and aubio are there" in_root /usr/bin/python3 -c "import numpy, aubio, pyaudio"
    if ! in_root dpkg -s python3-lgpio >/dev/null 2>&1; then
        say "   this archive has no python3-lgpio"
    fi
    # What an earlier trial that was cut short may have left.
    box uninstall --purge >"$root$inside/clean.log" 2>&1
    listing >"$root$inside/before"
}

first_install() {
    local began=$SECONDS
    box install --no-start >"$root$inside/install.log" 2>&1
    check "install ends with 0" test $? = 0
    say "   it took $((SECONDS - began)) s and $(du -sm "$root$base" | cut -f 1) MB"
    grep -i "lamps\|avahi" "$root$inside/install.log" | sed 's/^/   said: /'
    check "settings are the group's to read" test \
        "$(in_root stat -c '%a %U %G' $settings)" = "640 root rehearsal-room-settings"
    check "a room code was made" grep -qE '^room_code = ".{5,}"' "$root$settings"
    check "it will start with the machine" in_root systemctl is-enabled --quiet rehearsal-room-station
    check "the venv has the system's numpy" in_root $base/current/.venv/bin/python -c \
        'import numpy, sys; sys.exit(not numpy.__file__.startswith("/usr/lib/python3"))'
    check "the system's Python got nothing" test -z "$(in_root find /usr/local/lib -name '*.py')"
    smoke
}

smoke() {
    local station=$base/current/.venv/bin/station
    # What libraries leave in the home of who calls them is not the installer's.
    in_root env HOME=$inside $station check --json --config $settings >"$root$inside/check.json"
    check "station check ends with 0 or 1" test $? -le 1
    sed -n 's/.*"item": *"\([^"]*\)".*"state": *"fault".*/   fault: \1/p' "$root$inside/check.json"
    in_root env HOME=$inside timeout --signal=TERM 400 bash -c "
        $station demo --port 18471 >$inside/demo.log 2>&1 & demo=\$!
        for try in \$(seq 200); do
            sleep 0.2
            $base/current/.venv/bin/python -c 'import urllib.request as u
u.urlopen(\"http://127.0.0.1:18471/health\")' 2>/dev/null && break
        done
        kill \$demo; wait \$demo"
    check "station demo answers, and ends with 0" test $? = 0
}

again() {
    local was
    was=$(sha256sum <"$root$settings")
    box install --no-start >"$root$inside/again.log" 2>&1
    check "a second install ends with 0" test $? = 0
    check "and leaves the settings" test "$was" = "$(sha256sum <"$root$settings")"
    check "and one copy" test "$(in_root find $base -mindepth 1 -maxdepth 1 -type d | wc -l)" = 1
}

upgrade() {
    sed -i 's/^version = .*/version = "9.9.9"/' "$root$inside/project/pyproject.toml"
    box upgrade --no-start >"$root$inside/upgrade.log" 2>&1
    check "an upgrade ends with 0" test $? = 0
    check "and is the new version" in_root $base/current/.venv/bin/python -c \
        'import importlib.metadata as m, sys; sys.exit(m.version("rehearsal-room-station") != "9.9.9")'
}

broken_settings() {
    local was
    was=$(readlink "$root$base/current")
    printf '[station]\na4_hz = "flat"\n' >"$root$inside/bad.toml"
    box install --no-start --settings $inside/bad.toml >"$root$inside/bad.log" 2>&1
    check "an install with wrong settings is refused" test $? = 1
    check "what was there is as it was" test "$was" = "$(readlink "$root$base/current")"
    check "and the settings are, too" grep -q "^a4_hz = 440" "$root$settings"
}

uninstall() {
    in_root install -D -m 600 /dev/null "$kept"
    # From the installed copy: it removes the folder it lies in.
    in_root bash $base/current/systemd/box.sh uninstall >"$root$inside/uninstall.log" 2>&1
    check "uninstall ends with 0" test $? = 0
    check "settings and references stay" test -e "$root$settings" -a -e "$root$kept"
    check "the rest is gone" test ! -e "$root$base" -a ! -e "$root/etc/systemd/system/rehearsal-room-station.service"
}

purge() {
    box install --no-start >"$root$inside/back.log" 2>&1
    check "it can come back" test $? = 0
    box uninstall --purge >"$root$inside/purge.log" 2>&1
    check "purge ends with 0" test $? = 0
    listing >"$root$inside/after"
    check "nothing is left" diff "$root$inside/before" "$root$inside/after"
}

boot() {
    box install --no-start >"$root$inside/boot-install.log" 2>&1
    check "installed to be started" test $? = 0
    TRY_COPY="" bash "$here/boot_root.sh" "$root" "$inside" || failures=$((failures + 1))
    box uninstall --purge >>"$root$inside/boot-install.log" 2>&1
}

# Every file and group, but for what this program, apt and the clock leave anywhere.
listing() {
    in_root find / -xdev \( -path $inside -o -path /proc -o -path /dev -o -path /run -o -path /tmp \
        -o -path /var/lib/apt -o -path /var/cache -o -path /var/log -o -name __pycache__ \) -prune \
        -o -printf '%y %m %u:%g %p\n' | sort
    sort "$root/etc/group" "$root/etc/passwd" | grep -v ^nobody
}

box() {
    in_root bash $inside/project/systemd/box.sh "$@"
}

in_root() {
    local pass=() name
    for name in PIP_CERT http_proxy https_proxy no_proxy; do
        [[ -z ${!name-} ]] || pass+=("$name=${!name}")
    done
    env -i PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin HOME=/root \
        LANG=C.UTF-8 "${pass[@]}" chroot "$root" "$@"
}

check() {
    local what=$1
    shift
    if "$@"; then
        say "ok   $what"
    else
        say "BAD  $what"
        failures=$((failures + 1))
    fi
}

say() {
    printf '%s\n' "$*"
}

main
