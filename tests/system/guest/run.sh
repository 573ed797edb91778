#!/bin/bash
# Run a command as root in a small Linux guest that has CAN, which most build machines' kernels lack.
#
#   run.sh [-s] [-t SECONDS] [-d DISK] [-k TEXT] PROJECT PACKAGES COMMAND...
#
# PROJECT is seen in the guest as /project and PACKAGES (a site-packages directory) as /packages, both read-only.
# The command is alone in the guest; with -s systemd runs there, on a root that can be written and is thrown away, and
# Python finds nothing but what Debian or the command itself installs. DISK is a raw image that is kept, seen as /dev/vdb.
# With -k the machine loses its power as soon as TEXT is printed, and the status is 137.
# The command's output comes out here as it is printed, and its exit status is this script's; 124 means that it took
# too long, 125 that the guest did not work. The image is built once, as root, from the Debian sources this machine
# uses, and kept in $UNDERDASH_GUEST (default ~/.cache/underdash-guest).
set -euo pipefail

limit=240 first=/sbin/job root=ro disk='' cut=''
while getopts st:d:k: option; do
  case $option in
    s) first=/sbin/init root=rw ;;
    t) limit=$OPTARG ;;
    d) disk=$(realpath "$OPTARG") ;;
    k) cut=$OPTARG ;;
    *) exit 125 ;;
  esac
done
shift $((OPTIND - 1))
[[ $# -ge 3 ]] || { sed -n '2,/^set/{/^#/s/^# \?//p}' "$0" >&2; exit 125; }
project=$(realpath "$1") packages=$(realpath "$2")
shift 2
release=$(. /etc/os-release && echo "$VERSION_CODENAME")
here=$(dirname "$(realpath "$0")")
# an image that another recipe made is left alone
image=${UNDERDASH_GUEST:-$HOME/.cache/underdash-guest}/$release-$(cat "$0" "$here"/kernel/* | sha256sum | cut -c1-8)

complain() { echo "guest: $*" >&2; }

install_tools() {
  local missing=() tool
  for tool in mmdebstrap qemu-system-x86 e2fsprogs cpio xz-utils make gcc libc6-dev; do
    dpkg-query -W -f '${Status}' "$tool" 2>/dev/null | grep -q 'ok installed' || missing+=("$tool")
  done
  ((${#missing[@]})) || return 0
  complain "installing ${missing[*]}"
  apt-get -qq update
  DEBIAN_FRONTEND=noninteractive apt-get -qq -o DPkg::Lock::Timeout=600 install -y --no-install-recommends \
    "${missing[@]}" >/dev/null
}

debian_sources() {
  apt-get indextargets --format 'deb $(REPO_URI) $(CODENAME) $(COMPONENT)' \
    'Origin: Debian' 'Created-By: Packages' "Architecture: $(dpkg --print-architecture)"
}

# The modules of kernel/ and those that Debian's kernels leave out: simulated GPIO lines.
build_modules() {
  local headers=$1 version=$2 log=$3
  mkdir "$headers/bench"
  cp "$here"/kernel/* "$headers/bench/"
  tar -xf "$headers/source.tar.xz" -C "$headers/bench" --wildcards --transform 's#.*/##' \
    '*/drivers/gpio/gpio-sim.c' '*/drivers/gpio/gpiolib.h' '*/kernel/irq/irq_sim.c'
  sed -i "s#^include /usr#include $headers/usr#" "$headers/usr/src/linux-headers-$version/Makefile"
  make -s -C "$headers/usr/src/linux-headers-$version" "M=$headers/bench" CC=gcc modules >"$log" 2>&1 ||
    { cat "$log"; return 1; }
}

# A root file system with Python, iproute2 and the modules for CAN and for the guest's own devices, on ext4, and a
# first-stage file system that loads what it takes to mount it. The first process is the job itself, or systemd.
build_image() {
  local work=$1 root=$1/root stage=$1/stage version file
  mkdir -p "$root" "$stage"/{bin,modules,dev,new}
  cat >"$work/fetch" <<'FETCH'
set -e
mkdir /debs /headers
cd /debs
image=$(apt-cache depends linux-image-amd64 | sed -n 's/.*Depends: //p')
version=${image#linux-image-} series=$(cut -d. -f1-2 <<<"${image#linux-image-}")
apt-get -qq -o APT::Sandbox::User=root download "$image" "linux-headers-$version" "linux-headers-${version%-amd64}-common" \
  "linux-kbuild-$series" "linux-source-$series"
dpkg-deb -x linux-image-*.deb /kernel
for deb in linux-headers-*.deb linux-kbuild-*.deb; do dpkg-deb -x "$deb" /headers; done
dpkg-deb --fsys-tarfile linux-source-*.deb | tar -xO --wildcards '*.tar.xz' >/headers/source.tar.xz
rm -r /debs
FETCH
  debian_sources | mmdebstrap --quiet --mode=root --variant=minbase \
    --include=python3,python3-venv,iproute2,kmod,busybox-static,systemd,systemd-sysv,libpam-systemd,udev,dbus,polkitd \
    --dpkgopt='path-exclude=/usr/share/doc/*' --dpkgopt='path-exclude=/usr/share/locale/*' \
    --customize-hook="cp $work/fetch \$1/ && chroot \$1 bash /fetch && rm \$1/fetch" \
    "$release" "$root" -
  version=$(basename "$root"/kernel/boot/vmlinuz-*)
  version=${version#vmlinuz-}
  cp "$root/kernel/boot/vmlinuz-$version" "$work/kernel"
  mkdir -p "$root/lib/modules/$version"
  (cd "$(dirname "$(find "$root/kernel" -path "*modules/$version/kernel" -type d)")" &&
    find kernel/net/can kernel/drivers/net/can kernel/fs/{ext4,jbd2,mbcache.ko*,9p,netfs,fscache} kernel/net/{9p,sched} \
      kernel/drivers/{block,virtio,char,video,spi,usb} kernel/fs/configfs kernel/lib kernel/crypto kernel/arch modules.order modules.builtin* \
      -type f 2>/dev/null | cpio -pdm --quiet "$root/lib/modules/$version")
  build_modules "$root/headers" "$version" "$work/modules.log"
  cp "$root"/headers/bench/*.ko "$root/lib/modules/$version/"
  rm -rf "$root/kernel" "$root/headers"
  chroot "$root" depmod "$version"

  mkdir "$root"/{project,packages,job}
  settle_systemd "$root"
  cat >"$root/sbin/job" <<'JOB'
#!/bin/bash
mount -t proc p /proc
mount -t sysfs s /sys
for place in tmp run root var; do mount -t tmpfs $place /$place; done
for share in project packages job; do mount -t 9p -o trans=virtio,version=9p2000.L,msize=262144 $share /$share; done
export HOME=/root PATH=/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 PYTHONDONTWRITEBYTECODE=1
export PYTHONPATH=/project/daemon:/packages
ip link set lo up
cd /project
bash /job/command </dev/null >/dev/hvc0 2>&1
echo $? >/job/status
sync
busybox poweroff -f
JOB
  chmod 755 "$root/sbin/job"

  cp "$root/bin/busybox" "$stage/bin/"
  chroot "$root" modprobe -S "$version" -a -D virtio_pci virtio_blk virtio_console ext4 crc32c_generic 9pnet_virtio 9p |
    awk '$1 == "insmod" && !seen[$2]++ { print $2 }' >"$work/modules"
  while read -r file; do
    case $file in
      *.xz) xz -dc "$root$file" >"$stage/modules/$(basename "${file%.xz}")" ;;
      *) cp "$root$file" "$stage/modules/" ;;
    esac
    basename "${file%.xz}" >>"$stage/modules/order"
  done <"$work/modules"
  cat >"$stage/init" <<'INIT'
#!/bin/busybox sh
busybox=/bin/busybox
$busybox mount -t devtmpfs d /dev
while read module; do $busybox insmod /modules/$module; done </modules/order
until [ -b /dev/vda ]; do $busybox usleep 20000; done
$busybox mount -t ext4 -o $guest_root /dev/vda /new && $busybox mount -o move /dev /new/dev &&
  exec $busybox switch_root /new $guest_first
INIT
  chmod 755 "$stage/init"
  (cd "$stage" && find . | cpio -o -H newc --quiet | gzip -1) >"$work/first"
  : >"$work/disk"
  mke2fs -q -F -t ext4 -d "$root" "$work/disk" "$(($(du -sm "$root" | cut -f1) * 12 / 10 + 512))M"
  rm -rf "$root" "$stage"
}

# What the guest does when systemd is its first process: the same job, as a service, and nothing interactive.
settle_systemd() {
  local root=$1 unit
  for unit in getty.target apt-daily.timer apt-daily-upgrade.timer dpkg-db-backup.timer fstrim.timer e2scrub_all.timer \
    e2scrub_reap.service systemd-pcrphase.service systemd-pcrphase-sysinit.service systemd-random-seed.service \
    systemd-update-utmp.service systemd-hwdb-update.service systemd-firstboot.service ldconfig.service; do
    ln -sf /dev/null "$root/etc/systemd/system/$unit"
  done
  echo uninitialized >"$root/etc/machine-id"
  cat >"$root/etc/systemd/system/job.service" <<'UNIT'
[Unit]
After=multi-user.target
[Service]
ExecStart=/sbin/service-job
StandardOutput=file:/dev/hvc0
StandardError=inherit
KillMode=process
[Install]
WantedBy=multi-user.target
UNIT
  cat >"$root/sbin/service-job" <<'JOB'
#!/bin/bash
for share in project packages job; do mount -t 9p -o trans=virtio,version=9p2000.L,msize=262144 $share /$share; done
export HOME=/root PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8
cd /project
bash /job/command </dev/null
echo $? >/job/status
sync
systemctl poweroff -ff
JOB
  chmod 755 "$root/sbin/service-job"
  chroot "$root" systemctl -q enable job
}

if [[ ! -e $image/kernel ]]; then
  [[ $(id -u) == 0 ]] || { complain "building the image takes root"; exit 125; }
  mkdir -p "$(dirname "$image")"
  exec 9>"$image.lock"
  flock 9
  if [[ ! -e $image/kernel ]]; then
    install_tools >&2
    rm -rf "$image.new"
    complain "building the image, once"
    build_image "$image.new" >&2
    mv "$image.new" "$image"
  fi
  exec 9>&-
fi

job=$(mktemp -d)
machine=''
trap '[[ -z $machine ]] || kill "$machine" 2>/dev/null; rm -rf "$job"' EXIT
printf '%s\n' "$*" >"$job/command"
share() { echo "-fsdev local,id=$1,path=$2,security_model=none,readonly=$3,multidevs=remap -device virtio-9p-pci,fsdev=$1,mount_tag=$1"; }
mkfifo "$job/out"
# Its clock counts instructions, 2^1 ns each: a busy machine makes the guest slow for us and not for itself, so what times
# out there does not depend on what else runs here. While it has nothing to do its time is ours.
# shellcheck disable=SC2046
[[ -z $disk ]] || disk="-drive file=$disk,format=raw,if=virtio,cache=writeback"
# shellcheck disable=SC2086
timeout -s KILL "$limit" qemu-system-x86_64 -M q35 -accel tcg,thread=single -icount shift=1,sleep=on -rtc clock=vm -cpu max -m 512 \
  -nodefaults -no-user-config -display none -no-reboot \
  -kernel "$image/kernel" -initrd "$image/first" \
  -append "console=ttyS0 quiet panic=-1 mitigations=off nokaslr guest_first=$first guest_root=$root" -serial "file:$job/console" \
  -drive "file=$image/disk,format=raw,if=virtio,snapshot=on" $disk -pidfile "$job/pid" \
  $(share project "$project" on) $(share packages "$packages" on) $(share job "$job" off) \
  -object can-bus,id=wire -device kvaser_pci,canbus=wire -device kvaser_pci,canbus=wire \
  -device virtio-serial-pci -chardev "stdio,id=text,signal=off" -device virtconsole,chardev=text \
  </dev/null >"$job/out" 2>"$job/errors" &
machine=$!
if [[ -z $cut ]]; then
  sed -u 's/\r$//' "$job/out"
else
  while IFS= read -r line; do
    printf '%s\n' "${line%$'\r'}"
    [[ $line != *"$cut"* ]] || { kill -KILL "$(cat "$job/pid")"; break; }
  done <"$job/out"
  wait "$machine" || true
  machine=''
  exit 137
fi
code=0
wait "$machine" || code=$?
machine=''
if [[ -s $job/status ]]; then
  exit "$(cat "$job/status")"
fi
complain "no status from the guest (qemu ended with $code)"
cat "$job/errors" >&2
tail -15 "$job/console" >&2 || true
((code == 137)) && exit 124
exit 125
