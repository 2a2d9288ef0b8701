#!/usr/bin/env bash
# Installs the Debian tools that tests verify packages with. Where it may not, those tests are skipped with a word,
# except under CI=true, where they fail.
set -u
declare -A package=([pdfsig]=poppler-utils [pdftotext]=poppler-utils [pdffonts]=poppler-utils [certutil]=libnss3-tools [qpdf]=qpdf [openssl]=openssl [curl]=curl [softhsm2-util]=softhsm2)
missing=()
for tool in "${!package[@]}"; do
  command -v "$tool" >/dev/null 2>&1 || missing+=("${package[$tool]}")
done
# An archive validator and another signer in Java, 5 MB. Java with its compiler is large: it is installed under CI only.
if [ "${CI:-}" = true ] && ! command -v javac >/dev/null 2>&1; then
  missing+=(default-jdk-headless)
fi
if [ ! -e /usr/share/java/preflight.jar ] && { [ "${CI:-}" = true ] || command -v java >/dev/null 2>&1; }; then
  missing+=(libpdfbox2-java libjaxb-api-java)
fi
[ "${#missing[@]}" -eq 0 ] && exit 0
mapfile -t missing < <(printf '%s\n' "${missing[@]}" | sort -u)
if [ "$(id -u)" -ne 0 ] || ! command -v apt-get >/dev/null 2>&1; then
  echo "not installed, and not root on a Debian system: ${missing[*]}. The tests that need them are skipped."
  exit 0
fi
echo "installing ${missing[*]}"
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq >/dev/null && apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null \
  || echo "installing failed: ${missing[*]}. The tests that need them are skipped."
