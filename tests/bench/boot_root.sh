#!/usr/bin/env bash
# Starts the Debian in a folder with its own systemd, in namespaces of its own, and tries
# the installed service there: ready, restricted, watched, upgraded and taken back.
#
#   boot_root.sh FOLDER INSIDE      called by try_install.sh, which installs first
#
# INSIDE is where in the folder the project lies. The restrictions are the very ones of
# the service file, carried out by that Debian's systemd on this machine's kernel, but
# for the memory limits where this machine counts memory with the older control groups.
set -uo pipefail

here=$(CDPATH="" cd -- "$(dirname -- "${BASH_SOURCE[0]}")" && pwd -P)
root=$1
inside=$2
unit=rehearsal-room-station
settings=/etc/$unit/settings.toml
base=/opt/$unit
port=18474
low=984
orders=/run/freeze/orders
groups=/sys/fs/cgroup
[[ ! -d $groups/unified ]] || groups=$groups/unified
group=$groups/station-try-$$
failures=0

main() {
    if [[ ${3-} == first ]]; then
        become_first
    fi
    sed -i "s/^port = .*/port = $port/; s/^device = \"default\"/device = \"hw:CARD=lines,DEV=0\"/" \
        "$root$settings"
    # What an earlier trial that was cut short may have left.
    rm -rf -- "$root/etc/systemd/system/$unit.service.d" "$root/var/log/journal"
    start_system || exit 1
    trap stop_system EXIT
    ready
    restricted
    without_a_card
    frozen
    low_port
    goes_back
    analyzed
    ((failures == 0))
}

# -- the other system ----------------------------------------------------

start_system() {
    local until
    mkdir "$group" || return
    (
        echo "$BASHPID" >"$group/cgroup.procs" &&
            exec unshare --cgroup --mount --pid --ipc --uts --fork --kill-child=KILL \
                bash "${BASH_SOURCE[0]}" "$root" "$inside" first
    ) >"$root$inside/boot.log" 2>&1 &
    launcher=$!
    until=$((SECONDS + 30))
    while ((SECONDS < until)); do
        sleep 0.2
        first=$(pgrep --parent "$launcher" | head -n 1)
        [[ -n $first ]] && in_it systemctl is-active --quiet multi-user.target 2>/dev/null && break
    done
    check "systemd $(in_it systemctl --version | sed -n '1s/[^(]*(\([^)]*\)).*/\1/p') has started" \
        in_it systemctl is-active --quiet multi-user.target
}

# Becomes process 1 of that system.
become_first() {
    mount --make-rprivate / && mount --bind "$root" "$root" && cd -- "$root" || exit
    umount proc dev run 2>/dev/null
    mount -t proc proc proc && mount --bind proc/sys proc/sys && mount -o remount,bind,ro proc/sys
    mount -t sysfs -o ro sysfs sys && mount -t cgroup2 cgroup2 sys/fs/cgroup
    mount -t tmpfs tmpfs run && mount -t tmpfs tmpfs tmp && mount -t tmpfs -o mode=755 tmpfs dev
    bash "$here/devices.sh" "$root/dev"
    mkdir dev/snd
    mknod -m 666 dev/snd/probe c 116 240
    mknod -m 666 dev/ttyProbe c 4 64
    hostname box-on-trial
    pivot_root . mnt && umount -l /mnt || exit
    exec env -i container=trial PATH=/usr/sbin:/usr/bin:/sbin:/bin \
        /lib/systemd/systemd --system --log-target=journal --show-status=0
}

stop_system() {
    in_it journalctl --no-pager --boot >"$root$inside/journal.log"
    in_it systemctl poweroff
    wait "$launcher"
    find "$group" -depth -type d -exec rmdir {} +
}

in_it() {
    nsenter --target "$first" --mount --pid --ipc --uts --cgroup -- \
        env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 HOME=/root "$@"
}

told() {
    in_it systemctl show --property "$1" --value "$unit"
}

# -- what is tried -------------------------------------------------------

ready() {
    local pid
    wait_for_start ""
    check "the service has got ready by itself" test "$(told ActiveState)" = active
    check "its page answers" answers
    pid=$(in_it sh -c "cat /sys/fs/cgroup/system.slice/$unit.service/cgroup.procs | head -n 1")
    in_it grep -E "^(Uid|Groups|CapEff|NoNewPrivs|Seccomp):" "/proc/$pid/status" | sed 's/^/   /'
    say "   it says: $(told StatusText)"
}

restricted() {
    local but=""
    if in_it systemctl --version | grep -qF -- -BPF_FRAMEWORK; then
        say "   this systemd is built without what SocketBindDeny takes: not tried"
        but="'bind a UDP port'"
    fi
    drop_in "ExecStartPre=/usr/bin/python3 $base/current/sandbox_probe.py $but"
    cp -- "$here/../support/sandbox_probe.py" "$root$base/current/"
    in_it systemctl restart "$unit"
    check "every restriction is as the service file means it" test $? = 0
    in_it journalctl --unit "$unit" --no-pager --output cat --boot |
        grep -E "^(ok|BAD) .* can|^(ok|BAD) .* has" | sort -u | sed 's/^/   /'
    rm -f -- "$root$base/current/sandbox_probe.py"
    no_drop_in
}

without_a_card() {
    in_it systemctl restart "$unit"
    sleep 25
    check "25 s without a card: no restart" test "$(told NRestarts)" = 0
    check "and still ready" test "$(told ActiveState)" = active
}

frozen() {
    local loop began before started
    mkdir -p "$root$base/current/try"
    cp -- "$here/../support/freezing_station.py" "$root$base/current/try/"
    # Made before anybody looks: the service's user has to be able to empty it.
    in_it sh -c "umask 0; mkdir -p ${orders%/*}; : >$orders"
    drop_in "ExecStart=" "ExecStart=$base/current/.venv/bin/python \
$base/current/try/freezing_station.py $orders demo --port $port --config $settings" \
        "ReadWritePaths=${orders%/*}"
    in_it systemctl restart "$unit"
    for loop in capture listening page room all; do
        sleep 3
        before=$(told MainPID)
        began=$(date +%s%N)
        if [[ $loop == all ]]; then
            in_it sh -c "kill -STOP $before"
        else
            in_it sh -c "echo $loop >$orders"
        fi
        wait_for_another "$before"
        started=$((($(date +%s%N) - began) / 1000000))
        wait_for_start "$before"
        check "$loop frozen: started anew after $started ms, within 15 s" test $started -le 15000
        check "   and ready after $((($(date +%s%N) - began) / 1000000)) ms" \
            test "$(told ActiveState)" = active -a "$(told MainPID)" != "$before"
    done
    check "it was started anew five times" test "$(told NRestarts)" = 5
    in_it journalctl --unit "$unit" --no-pager --output cat --boot | grep -E "no progress" |
        sed 's/^/   /'
    check "where every thread stood is in the log" in_it sh -c \
        "journalctl --unit $unit --no-pager --output cat --boot | grep -q 'Fatal Python error: Aborted'"
    no_drop_in
    rm -rf -- "$root$base/current/try"
    in_it systemctl restart "$unit"
}

# As the README says for port 80, which may be in use here.
low_port() {
    local usual=$port
    port=$low
    sed -i "s/^port = .*/port = $port/" "$root$settings"
    drop_in "CapabilityBoundingSet=CAP_NET_BIND_SERVICE" "AmbientCapabilities=CAP_NET_BIND_SERVICE"
    in_it systemctl restart "$unit"
    check "with the capability the page answers on port $port" answers
    port=$usual
    sed -i "s/^port = .*/port = $port/" "$root$settings"
    no_drop_in
    in_it systemctl restart "$unit"
}

# A version that cannot start must not cost the band the one that does.
goes_back() {
    local was
    was=$(readlink "$root$base/current")
    cp -a -- "$root$inside/project" "$root$inside/broken"
    echo 'Listening.start = None  # broken on purpose' >>"$root$inside/broken/station/listening.py"
    in_it env ${PIP_CERT:+PIP_CERT="$PIP_CERT"} bash "$inside/broken/systemd/box.sh" upgrade \
        >"$root$inside/broken.log" 2>&1
    check "an upgrade that does not get ready ends with 1" test $? = 1
    check "it says so" grep -q "The version before runs again" "$root$inside/broken.log"
    check "the version before runs" test "$was" = "$(readlink "$root$base/current")" -a \
        "$(told ActiveState)" = active
    check "and its page answers" answers
    in_it env ${PIP_CERT:+PIP_CERT="$PIP_CERT"} bash "$inside/project/systemd/box.sh" upgrade \
        >"$root$inside/whole.log" 2>&1
    check "an upgrade that does is taken" test $? = 0 -a "$was" != "$(readlink "$root$base/current")"
    in_it systemctl stop "$unit"
    check "it ends when told to" test "$(told Result)" = success
}

analyzed() {
    local file=/etc/systemd/system/$unit.service
    check "this systemd has nothing to say against the service" test -z \
        "$(in_it systemd-analyze verify "$file" 2>&1 | grep "$unit")"
    in_it systemd-analyze security --offline=true --threshold=20 --no-pager "$file" \
        >"$root$inside/security.log"
    check "its exposure is at most 2.0" test $? = 0
    sed -n 's/^→ /   /p' "$root$inside/security.log"
    if in_it udevadm verify --help >/dev/null 2>&1; then
        # Its path and name are still to be filled in, as `box.sh card` does.
        sed "s/@PATH@/platform-xhci-hcd.0-usb-0:1.2:1.0/; s/@NAME@/lines/" \
            "$root$base/current/systemd/card.rules" >"$root$inside/85-card.rules"
        in_it udevadm verify "$inside/85-card.rules" >"$root$inside/udev.log" 2>&1
        check "the card's rule is one for udev" test $? = 0
    else
        say "   this udevadm cannot verify rules"
    fi
}

drop_in() {
    local folder=$root/etc/systemd/system/$unit.service.d
    mkdir -p "$folder"
    printf '%s\n' "[Service]" "$@" >"$folder/try.conf"
    in_it systemctl daemon-reload
}

no_drop_in() {
    rm -rf -- "$root/etc/systemd/system/$unit.service.d"
    in_it systemctl daemon-reload
}

# Until another process is the service's, ready or not, for 30 s.
wait_for_another() {
    local until=$((SECONDS + 30)) now
    while ((SECONDS < until)); do
        now=$(told MainPID)
        [[ $now != 0 && $now != "$1" ]] && return
        sleep 0.05
    done
}

# Until it is ready with another process than the one given, for 30 s.
wait_for_start() {
    local until=$((SECONDS + 30))
    while ((SECONDS < until)); do
        [[ $(told ActiveState) == active && $(told MainPID) != "$1" ]] && return
        sleep 0.1
    done
}

answers() {
    in_it "$base/current/.venv/bin/python" -c \
        "import urllib.request as u; u.urlopen('http://127.0.0.1:$port/health', timeout=5)"
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

main "$@"
