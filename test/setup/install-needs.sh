#!/bin/sh
# Installs the programs that the tests and the demo need, those that are missing only. It needs apt and root for that;
# where it lacks them it says what is missing, and fails.
#
#   install-needs.sh              what the tests need
#   install-needs.sh slow         what the slow tests need beside that
#   install-needs.sh demo         what the demo needs
#   install-needs.sh PROGRAM…     these only, as they are named below
set -eu

# program   Debian package that has it; of several, the first that the release knows
needs='
apparmor_parser      apparmor
readelf              binutils
bison                bison
busybox              busybox-static
bzip2                bzip2
cmark-gfm            cmark-gfm
cpio                 cpio
curl                 curl
docker               docker-cli docker.io
dockerd              docker.io
docker-registry      docker-registry
file                 file
flex                 flex
gcc                  build-essential
gpg                  gnupg
gpgv                 gpgv
htpasswd             apache2-utils
make                 build-essential
openssl              openssl
ps                   procps
qemu-system-x86_64   qemu-system-x86
shellcheck           shellcheck
skopeo               skopeo
unzip                unzip
xz                   xz-utils
zstd                 zstd
'
slow_needs='
buildah              buildah
chromium             chromium
fdtget               device-tree-compiler
modinfo              kmod
podman               podman
qemu-system-aarch64  qemu-system-arm
qemu-system-riscv64  qemu-system-riscv qemu-system-misc
runc                 runc
'

# Not in the PATH of an ordinary user, where dockerd and apparmor_parser are.
PATH="$PATH:/usr/sbin:/sbin"

is_there() {
  case $1 in
    # Docker only recommends it, but starts no container without it where the kernel has AppArmor switched on.
    apparmor_parser) [ "$(cat /sys/module/apparmor/parameters/enabled 2>/dev/null)" != Y ] || command -v "$1" ;;
    # The boot proof puts it into an initramfs without any library; ldd fails on a program that needs none.
    busybox) found=$(command -v busybox) && ! ldd "$found" ;;
    *) command -v "$1" ;;
  esac >/dev/null 2>&1
}

packages_of() {
  printf '%s' "$needs$slow_needs" | awk -v program="$1" '$1 == program { $1 = ""; print }'
}

first_known() {
  for package; do
    if apt-cache show "$package" >/dev/null 2>&1; then
      echo "$package"
      return
    fi
  done
  echo "$1"
}

case "$*" in
  '')
    # shellcheck disable=SC2046 # one word per program
    set -- $(printf '%s' "$needs" | awk 'NF { print $1 }')
    ;;
  slow)
    # shellcheck disable=SC2046 # one word per program
    set -- $(printf '%s' "$slow_needs" | awk 'NF { print $1 }')
    ;;
  demo) set -- apparmor_parser busybox curl docker dockerd qemu-system-x86_64 xz ;;
esac
missing=
for program; do
  if [ -z "$(packages_of "$program")" ]; then
    echo "install-needs.sh: nothing is known of $program" >&2
    exit 2
  fi
  is_there "$program" || missing="$missing $program"
done
[ -n "$missing" ] || exit 0

if ! command -v apt-get >/dev/null; then
  echo "install-needs.sh: these programs are missing, and there is no apt to install them:$missing" >&2
  exit 3
fi
if [ "$(id -u)" -ne 0 ]; then
  echo "install-needs.sh: these programs are missing, and only root can install them:$missing" >&2
  exit 3
fi

echo "installing what is missing:$missing" >&2
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq >&2 || {
  echo 'install-needs.sh: apt could not fetch its lists' >&2
  exit 3
}
packages=
for program in $missing; do
  # shellcheck disable=SC2046 # one word per package
  packages="$packages $(first_known $(packages_of "$program"))"
done
# shellcheck disable=SC2086 # one word per package
apt-get install -qq -y --no-install-recommends $packages >&2 || {
  echo "install-needs.sh: apt could not install$packages" >&2
  exit 3
}
