#!/usr/bin/env bash
# The Debian package: what is in it, and that it works unpacked; with --clean-root, that apt installs it in a system that has nothing
# else, that it does the main job there, and that it leaves nothing behind when it is removed.
#   package.sh BUILD RECORDING FOLDER [--clean-root]
set -euo pipefail

build=$1
recording=$2
folder=$3
fail() {
  echo "FAILED: $*" >&2
  exit 1
}
skip() {
  echo "skipped: $*"
  exit 77
}
for program in cpack dpkg-deb dpkg-shlibdeps readelf; do
  command -v $program >/dev/null || skip "$program is missing"
done
if [ "${4:-}" = --clean-root ]; then
  command -v debootstrap >/dev/null || skip "the clean root, for debootstrap is missing"
  [ "$(id -u)" -eq 0 ] || skip "the clean root, for only root may make one"
fi

# A root that is left from a run that was killed may have file systems mounted in it.
for mounted in proc dev; do umount "$folder/root/$mounted" 2>/dev/null || true; done
rm -rf "$folder"
mkdir -p "$folder"
(cd "$build" && cpack -G DEB -B "$folder/pack") >"$folder/log" 2>&1 || { tail -n 20 "$folder/log"; fail "cpack"; }
package=$(echo "$folder"/pack/*.deb)
[ -s "$package" ] || fail "no package"

if [ "${4:-}" != --clean-root ]; then
  # Debian Policy 5.6.2 (a name and an address), 3.5 (dependencies), 6.1 (nothing runs at installation), 9.1 (places), 10.2 (stripped), 10.9 (owners), 12.1, 12.5.
  maker=$(dpkg-deb -f "$package" Maintainer)
  [[ $maker =~ ^[^\<]+\ \<[^@\ ]+@[^@\ ]+\.[^@\ .]+\>$ ]] || fail "its maker is no name with an address: $maker"
  depends=$(dpkg-deb -f "$package" Depends)
  for library in libsndfile1 libfftw3-single3 libavformat59 libsqlite3-0 libgl1 fonts-dejavu-core; do
    case $depends in *$library*) ;; *) fail "the package does not ask for $library: $depends" ;; esac
  done
  case $depends in *-dev*) fail "the package asks for files of development: $depends" ;; esac
  [ "$(dpkg-deb --info "$package" | grep -cE 'postinst|preinst|postrm|prerm')" -eq 0 ] || fail "it runs scripts"
  dpkg-deb -c "$package" >"$folder/contents"
  awk '{print $NF}' "$folder/contents" | grep -vE '^\./usr/(bin|libexec/lowstride|share)?(/|$)|^\./usr/libexec/$|^\./$' && fail "a file lies outside its place"
  awk '$2 != "root/root" {print; bad = 1} END {exit bad}' "$folder/contents" || fail "a file does not belong to root"
  grep -E '^[^l].{4}w|^[^l].{7}w' "$folder/contents" && fail "others may write to a file"
  grep -E '/mime/(mime\.cache|types|globs)|mimeinfo\.cache|icon-theme\.cache' "$folder/contents" && fail "it carries a database of the whole system"
  mkdir "$folder/unpacked"
  dpkg-deb -x "$package" "$folder/unpacked"
  usr=$folder/unpacked/usr
  for program in "$usr"/bin/* "$usr"/libexec/lowstride/*; do
    readelf -d "$program" | grep -E 'RPATH|RUNPATH' && fail "$program looks for libraries in a folder of its own"
    readelf -S "$program" | grep -q '\.symtab' && fail "$program is not stripped"
  done
  for program in "$usr"/bin/*; do
    [ -s "$usr/share/man/man1/$(basename "$program").1" ] || fail "$(basename "$program") has no man page"
  done
  [ -s "$usr/share/doc/lowstride/copyright" ] || fail "no copyright file"
  (cd "$folder/unpacked" && dpkg-deb --ctrl-tarfile "$package" | tar -xO ./md5sums | md5sum -c --quiet) || fail "md5sums"
  mkdir "$folder/home"
  cp "$recording" "$folder/demo.ogg"
  env -i PATH=/usr/bin:/bin HOME="$folder/home" "$usr/bin/lowstride" lift "$folder/demo.ogg" >"$folder/tab" || fail "lift, unpacked"
  grep -q '^E|' "$folder/tab" || fail "no tab, unpacked"
  echo "well: $(basename "$package"), $(stat -c %s "$package") bytes, works unpacked"
  exit
fi

# The mirror that this machine itself installs from.
mirror=$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 2>/dev/null | head -n 1)
release=$(. /etc/os-release && echo "${VERSION_CODENAME:-}")
[ -n "$mirror" ] && [ -n "$release" ] || skip "the clean root, for no mirror is known to apt"
root=$folder/root
debootstrap --variant=minbase "$release" "$root" "$mirror" >"$folder/bootstrap" 2>&1 ||
  { tail -n 3 "$folder/bootstrap"; skip "the clean root, for debootstrap could not make one"; }
trap 'umount "$root/proc" "$root/dev" 2>/dev/null || true' EXIT
mount -t proc proc "$root/proc" && mount --bind /dev "$root/dev" || skip "the clean root, for nothing may be mounted here"
for settings in /etc/apt/apt.conf.d/*proxy* /etc/resolv.conf; do
  [ -e "$settings" ] && cp -L "$settings" "$root$settings"
done
cp "$package" "$root/tmp/lowstride.deb"
cp "$recording" "$root/tmp/demo.ogg"
inside() { chroot "$root" /usr/bin/env -i PATH=/usr/bin:/bin:/usr/sbin:/sbin HOME=/root LANG=C.UTF-8 DEBIAN_FRONTEND=noninteractive "$@"; }
inside dpkg-query -W -f '${Package}\n' | sort >"$folder/before"
{ inside apt-get update && inside apt-get install -y --no-install-recommends /tmp/lowstride.deb; } >"$folder/apt" 2>&1 ||
  { tail -n 5 "$folder/apt"; fail "apt-get install in the clean root"; }
inside lowstride --version | head -n 1
inside sh -c 'cd /tmp && lowstride lift demo.ogg' >"$folder/tab" || fail "lift in the clean root"
grep -q '^E|' "$folder/tab" || fail "no tab in the clean root"
inside sh -c 'cd /tmp && lowstride slow demo.take --speed 50% --from b5 --to b9 -o slow.ogg' || fail "slow in the clean root"
inside sh -c 'cd /tmp && lowstride export demo.take --format pdf -o demo.pdf' || fail "pages in the clean root"
inside sh -c 'head -c 5 /tmp/demo.pdf' | grep -q '%PDF-' || fail "no page in the clean root"
# The window asks for a screen, which is to say that all its libraries are there.
inside lowstride-desk /tmp/demo.take >"$folder/desk" 2>&1 && fail "a window without a screen"
grep -q '^lowstride desk: ' "$folder/desk" || fail "the desk does not start: $(cat "$folder/desk")"
inside apt-get purge -y lowstride >>"$folder/apt" 2>&1 || fail "apt-get purge"
inside sh -c 'find / -xdev -iname "*lowstride*" -not -path "/tmp/*" -not -path "/root/*" -not -path "/proc/*"' >"$folder/left"
[ -s "$folder/left" ] && fail "left behind: $(cat "$folder/left")"
echo "well: installed by apt with $(inside dpkg-query -W -f '${Package}\n' | sort | comm -13 "$folder/before" - | wc -l) packages into a clean root, lifted, slowed, printed, removed"
