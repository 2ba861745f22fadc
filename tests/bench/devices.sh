#!/usr/bin/env bash
# The few device nodes a Debian in a folder needs, made in the folder given.
set -eu
cd -- "$1"
mkdir -p pts shm
mount -t devpts -o newinstance,ptmxmode=0666,mode=620 devpts pts
mount -t tmpfs tmpfs shm
ln -sf pts/ptmx ptmx
ln -sf /proc/self/fd fd
ln -sf fd/0 stdin
ln -sf fd/1 stdout
ln -sf fd/2 stderr
while read -r name major minor; do
    mknod -m 666 "$name" c "$major" "$minor"
done <<'NODES'
null 1 3
zero 1 5
full 1 7
random 1 8
urandom 1 9
tty 5 0
NODES
