#!/bin/sh
# The demo: pins, builds and boots the kernel of the (invented) Otter Bank river-gauge stations. As root on a bare
# Debian machine it installs what it needs with apt, and starts a container engine of its own if none answers.
#
#   sh test/e2e/demo.sh [DIR]     DIR: where everything goes (default: out/demo)
set -eu
here=$(cd -- "$(dirname -- "$0")" && pwd -P)
root=$(cd -- "$here/../.." && pwd -P)
out=${1:-$root/out/demo}
spec=$here/otter-bank/gauge-station.yaml
lock=$here/otter-bank/gauge-station.lock.json

quern() {
  node "$root/dist/cli.js" "$@"
}

title() {
  printf '\n--- %s\n' "$*"
}

title 'what the demo needs'
bash "$root/test/setup/install-needs.sh" docker dockerd apparmor_parser qemu-system-x86_64 busybox xz
mkdir -p -- "$out"
if docker info >/dev/null 2>&1; then
  echo 'a container engine answers: it is used'
else
  engine=$(mktemp -d /tmp/quern-demo.XXXXXX)
  trap 'sh "$root/test/setup/engine.sh" stop "$engine" && rm -rf -- "$engine"' EXIT
  trap 'exit 130' INT TERM HUP
  DOCKER_HOST=$(sh "$root/test/setup/engine.sh" start "$engine")
  export DOCKER_HOST
  echo "no container engine answered: one was started in $engine, and is stopped at the end"
fi

title "the spec: $spec"
cat -- "$spec"

title 'quern check'
quern check "$spec" --lock "$lock"

title 'quern build'
build() {
  quern build "$spec" --lock "$lock" -o "$out/gauge-station"
}
status=0
build || status=$?
# A package of the lock may have left the archive by now, and its dated copy be out of reach. What was said is on the
# screen; it is asked for again to be read here.
if [ "$status" -eq 3 ] && ! build >"$out/build.log" 2>&1 && grep -qE 'host/(gone|download-failed)' "$out/build.log"; then
  title 'the archive has moved on since the committed lock: pinning afresh, into a lock of the demo'
  lock=$out/gauge-station.lock.json
  rm -f -- "$lock"
  quern pin "$spec" --lock "$lock"
  build
fi
[ -f "$out/gauge-station/provenance.json" ] || exit "$status"
rm -f -- "$out/build.log"

title 'quern verify'
quern verify "$out/gauge-station"

title 'quern boot'
quern boot "$out/gauge-station"

title 'the summary'
cat -- "$out/gauge-station/summary.md"

title 'where everything lies'
echo "the lock:                $lock"
echo "artefacts and record:    $out/gauge-station"
ls -l -- "$out/gauge-station"
echo "the console of the boot: $out/gauge-station/boot.log"
echo "to build it without Quern: sh $out/gauge-station/kit/run.sh"
