#!/bin/sh
# Boots an unmodified arm64 kernel of Debian under software emulation and runs
# the real calx in it. See README.md.
#
# usage: deploy/rig/rig.sh [flags of host/main.go]
#
# Needs Debian or a kin of it, root (apt brings its lists up to date, depmod
# writes into the unpacked package), Go, and the packages qemu-system-arm,
# kmod, cpio, e2fsprogs. RIG is the folder it works in, kept between runs.
set -eu

here=$(cd "$(dirname "$0")" && pwd)
root=$here/../..
work=${RIG:-${XDG_CACHE_HOME:-${HOME:-/tmp}/.cache}/calx-rig}
modules='virtio_pci virtio_console virtio_blk ext4 cuse i6300esb'

for pair in qemu-system-aarch64=qemu-system-arm modprobe=kmod cpio=cpio mkfs.ext4=e2fsprogs; do
	command -v "${pair%%=*}" >/dev/null || {
		echo "rig: ${pair%%=*} is missing; install ${pair#*=}" >&2
		exit 1
	}
done

# kernel: apt in a folder of its own, with arm64 as its only architecture. The
# package is unpacked, not installed; apt checks its signature.
kernel() {
	[ -d "$work/kernel.d" ] && return
	mkdir -p "$work/apt/lists/partial" "$work/apt/cache/archives/partial"
	: >"$work/apt/status"
	set -- -qq -o APT::Architecture=arm64 -o APT::Architectures=arm64 -o APT::Sandbox::User=root \
		-o "Dir::State=$work/apt" -o "Dir::State::status=$work/apt/status" -o "Dir::Cache=$work/apt/cache"
	apt-get "$@" update
	package=$(apt-cache "$@" depends linux-image-arm64 | sed -n 's/.*Depends: //p' | head -n 1)
	(cd "$work" && apt-get "$@" download "$package")
	dpkg-deb -x "$work/$package"_*.deb "$work/kernel.part"
	rm "$work/$package"_*.deb
	mv "$work/kernel.part" "$work/kernel.d"
	depmod -b "$work/kernel.d" "$(ls "$work/kernel.d/lib/modules")"
}

# image: process 1, calx, and the modules in the order in which they load.
image() {
	version=$(ls "$work/kernel.d/lib/modules")
	cp "$work/kernel.d/boot/vmlinuz-$version" "$work/kernel"
	rm -rf "$work/image.d"
	mkdir -p "$work/image.d/modules"
	for m in $modules; do
		modprobe -d "$work/kernel.d" -S "$version" --show-depends "$m"
	done | sed -n 's/^insmod \([^ ]*\).*/\1/p' | awk '!seen[$0]++' >"$work/order"
	while read -r file; do
		cp "$file" "$work/image.d/modules/"
		basename "$file"
	done <"$work/order" >"$work/image.d/modules/order"
	(
		cd "$root"
		export CGO_ENABLED=0 GOOS=linux GOARCH=arm64
		go build -trimpath -o "$work/image.d/init" ./deploy/rig/guest
		go build -trimpath -o "$work/image.d/calx" ./cmd/calx
	)
	(cd "$work/image.d" && find . | cpio --quiet -o -H newc | gzip -1) >"$work/initrd"
	(cd "$root" && go build -o "$work/host" ./deploy/rig/host)
}

mkdir -p "$work"
kernel
image
exec "$work/host" -folder "$work" "$@"
