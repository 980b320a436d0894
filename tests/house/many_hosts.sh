#!/usr/bin/env bash
# Grading over several hosts, one of which dies on the way: nothing may be lost.
#
#     many_hosts.sh PROGRAM INTAKE.jsonl [RECORDS]
#
# Needs root, and the packages openssh-server, iproute2, parallel and jq. Three network namespaces
# serve as hosts, each with an ssh server of its own; all are taken down at the end. Not part of the
# tests: it takes about a minute.
set -euo pipefail

program=$(realpath "$1")
intake=$(realpath "$2")
records=${3:-6000}
hosts=(shaft1 shaft2 shaft3)
work=$(mktemp -d)

finish() {
  for host in "${hosts[@]}"; do
    if [ -e "$work/$host.pid" ]; then kill "$(cat "$work/$host.pid")" 2>/dev/null || true; fi
    ip netns pids "$host" 2>/dev/null | xargs -r kill 2>/dev/null || true
    ip netns del "$host" 2>/dev/null || true
  done
  for link in "${!hosts[@]}"; do ip link del "yard$link" 2>/dev/null || true; done
  ip link del shaftyard 2>/dev/null || true
  rm -rf "$work"
}
trap finish EXIT

# ------------------------------------------------------------------ hosts
ip link add shaftyard type bridge
ip addr add 10.77.0.1/24 dev shaftyard
ip link set shaftyard up
ssh-keygen -q -t ed25519 -N '' -f "$work/key"
ssh-keygen -q -t ed25519 -N '' -f "$work/host_key"
mkdir -p /run/sshd
for i in "${!hosts[@]}"; do
  host=${hosts[$i]}
  ip netns add "$host"
  ip link add "yard$i" type veth peer name "unit$i"
  ip link set "yard$i" master shaftyard up
  ip link set "unit$i" netns "$host"
  ip -n "$host" addr add "10.77.0.1$i/24" dev "unit$i"
  ip -n "$host" link set "unit$i" up
  ip -n "$host" link set lo up
  cat > "$work/$host.conf" <<END
HostKey $work/host_key
AuthorizedKeysFile $work/key.pub
PidFile $work/$host.pid
StrictModes no
UsePAM no
PasswordAuthentication no
MaxStartups 100
END
  ip netns exec "$host" /usr/sbin/sshd -f "$work/$host.conf"
done
# A dead host must be noticed: its connection ends within seconds.
cat > "$work/ssh.conf" <<END
Host *
  User root
  IdentityFile $work/key
  StrictHostKeyChecking no
  UserKnownHostsFile /dev/null
  LogLevel ERROR
  ConnectTimeout 3
  ServerAliveInterval 1
  ServerAliveCountMax 2
END
chmod 600 "$work/key"

# ------------------------------------------------------------------ records
count=0
while [ "$count" -lt "$records" ]; do
  jq -c --arg n "$count" '.unit.id += "-" + $n' "$intake"
  count=$((count + $(wc -l < "$intake")))
done > "$work/all.jsonl"
"$program" assess --format jsonl "$work/all.jsonl" | jq -c 'del(.record)' > "$work/here"

# Pieces of whole lines go to the hosts; what a host that died had got goes to another. Here all hosts
# see the same files; where they do not, add `--transferfile {} --cleanup`.
mkdir "$work/pieces"
split --lines 250 --numeric-suffixes --suffix-length 4 "$work/all.jsonl" "$work/pieces/"
over_hosts() {
  parallel --will-cite --ssh "ssh -F $work/ssh.conf" --sshlogin 10.77.0.10,10.77.0.11,10.77.0.12 \
    --jobs 1 --retries 6 --keep-order --joblog "$work/jobs" \
    "$program assess --format jsonl {}" ::: "$work"/pieces/*
}

over_hosts > "$work/there.full"
jq -c 'del(.record)' "$work/there.full" > "$work/there"
cmp "$work/here" "$work/there"
echo "$(wc -l < "$work/there") reports over ${#hosts[@]} hosts are those made here, in the same order"

(sleep 2; ip -n shaft2 link set unit1 down; echo "shaft2 has died") &
over_hosts > "$work/there.full"
wait
jq -c 'del(.record)' "$work/there.full" > "$work/there"
cmp "$work/here" "$work/there"
echo "$(wc -l < "$work/there") reports with one host dead on the way, none lost and none twice:"
tail -n +2 "$work/jobs" | cut -f 2 | sort | uniq -c
