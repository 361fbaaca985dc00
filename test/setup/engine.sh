#!/bin/sh
# A private Docker engine for tests and the demo: its own folder, socket and containers, no network of its own, and
# nothing of an engine that runs on this machine anyway is touched. Needs root.
#
#   engine.sh start DIR   starts it unless it runs, and prints its address for DOCKER_HOST
#   engine.sh stop DIR    stops it, and waits until all that it started is gone; its images are kept
#
# Images are kept in DIR/data, or in the folder that QUERN_ENGINE_DATA names while no other engine uses that.
set -eu
unset DOCKER_HOST DOCKER_CONTEXT DOCKER_TLS_VERIFY
PATH="$PATH:/usr/sbin:/sbin"

fail() {
  printf 'engine.sh: %s\n' "$1" >&2
  exit 3
}

answers() {
  docker -H "unix://$dir/docker.sock" version >/dev/null 2>&1
}

# The pid in file $1, if it is a process that was started for this folder: numbers are used again.
own_pid() {
  [ -f "$1" ] || return 1
  pid=$(cat "$1")
  grep -qF -e "$dir/" "/proc/$pid/cmdline" 2>/dev/null || return 1
  printf '%s' "$pid"
}

# Pids of what containers leave behind of this engine: one shim each, with its address among its arguments. The pattern
# comes from a file, so that grep does not find itself.
shims() {
  # shellcheck disable=SC2062 # what it takes for a pattern are the files
  printf '%s\n' "$dir/exec/containerd/containerd.sock" |
    grep -lzxF -f - /proc/[0-9]*/cmdline 2>/dev/null | cut -d / -f 3
}

# The first process of each of these containers: the children of the shims whose pids are given.
first_processes() {
  for shim; do
    cat /proc/[0-9]*/stat 2>/dev/null |
      awk -v parent="$shim" '{ pid = $1; sub(/.*\) /, "") } $2 == parent { print pid }'
  done
}

# Waits for $1 times a tenth of a second until the command that follows fails.
wait_while() {
  left=$1
  shift
  while "$@" >/dev/null 2>&1; do
    [ "$left" -gt 0 ] || return 1
    left=$((left - 1))
    sleep 0.1
  done
}

some_shim() {
  [ -n "$(shims)" ]
}

end_process() {
  kill "$1" 2>/dev/null || return 0
  wait_while "$2" kill -0 "$1" || kill -KILL "$1" 2>/dev/null || true
  wait_while 50 kill -0 "$1" || true
}

start() {
  # The system takes no longer path for a socket, and this is the longest that the engine makes.
  socket="$dir/exec/containerd/containerd.sock.ttrpc"
  [ "${#socket}" -le 107 ] || fail "the path of the folder is too long for sockets in it: $dir"
  command -v dockerd >/dev/null || fail 'dockerd is not installed (Debian: docker.io)'
  command -v docker >/dev/null || fail 'docker is not installed (Debian: docker.io)'
  [ "$(id -u)" -eq 0 ] || fail 'only root can start an engine'
  if answers; then
    echo "unix://$dir/docker.sock"
    return
  fi
  own_pid "$dir/pid" >/dev/null || rm -f "$dir/pid"

  data=${QUERN_ENGINE_DATA:-$dir/data}
  mkdir -p "$data"
  # Held by the engine and all that it starts, and so free again when the last of them has gone.
  exec 9>"$data.lock"
  if ! flock -n 9; then
    data="$dir/data"
    exec 9>&-
  fi

  setsid dockerd --data-root "$data" --exec-root "$dir/exec" -H "unix://$dir/docker.sock" \
    --pidfile "$dir/pid" --iptables=false --ip6tables=false --bridge=none >"$dir/log" 2>&1 </dev/null &
  daemon=$!
  tries=600
  until answers; do
    if ! kill -0 "$daemon" 2>/dev/null || [ "$tries" -eq 0 ]; then
      tail -n 5 "$dir/log" >&2
      stop
      fail "the engine did not start; its log: $dir/log"
    fi
    tries=$((tries - 1))
    sleep 0.1
  done
  echo "unix://$dir/docker.sock"
}

stop() {
  if daemon=$(own_pid "$dir/pid"); then end_process "$daemon" 600; fi
  if containerd=$(own_pid "$dir/exec/containerd/containerd.pid"); then end_process "$containerd" 100; fi
  if ! wait_while 20 some_shim; then
    left_behind=$(shims)
    # shellcheck disable=SC2086 # one word per process
    for process in $(first_processes $left_behind) $left_behind; do kill -KILL "$process" 2>/dev/null || true; done
    wait_while 50 some_shim || fail "containers of this engine are still there: $(shims | tr '\n' ' ')"
  fi
  # What an engine that was killed has left mounted, the innermost first.
  awk -v inside="$dir/" 'index($2, inside) == 1 { print $2 }' /proc/self/mounts | sort -r |
    while read -r mount; do umount "$mount" 2>/dev/null || true; done
  rm -rf "$dir/exec" "$dir/docker.sock" "$dir/pid"
}

[ $# -eq 2 ] || {
  echo 'usage: engine.sh start|stop DIR' >&2
  exit 2
}
case $1 in
  start)
    mkdir -p "$2"
    dir=$(cd "$2" && pwd -P)
    start
    ;;
  stop)
    [ -d "$2" ] || exit 0
    dir=$(cd "$2" && pwd -P)
    stop
    ;;
  *)
    echo 'usage: engine.sh start|stop DIR' >&2
    exit 2
    ;;
esac
