#!/bin/bash
# Runs what the host sends, one base64 line each; answers "STATUS OUTPUT" with the output in base64.
port=/dev/virtio-ports/bench.hands
for _ in $(seq 100); do [ -e $port ] && break; sleep 0.1; done
exec 3<>$port
while read -r -u 3 line; do
    out=$(base64 -d <<<"$line" | PATH=$PATH:/opt/lungwort/bin HOME=/root bash 2>&1 3>&-)
    status=$?
    printf '%s %s\n' $status "$(base64 -w0 <<<"$out")" >&3
done
