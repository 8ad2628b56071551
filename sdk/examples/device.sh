#!/bin/sh
# A run from a device without a clock, in plain HTTP: what an ESP32 would send, said with curl.
#
#     export BURRLINE_URL=http://127.0.0.1:8460 BURRLINE_KEY=...
#     ./device.sh GRINDER BOOT UPTIME START GRAMS SECONDS
#
# BOOT is counted up in the device's flash at every start; UPTIME is its seconds since then, now;
# START is what they were when the motor started. From both the service knows how long ago that was.
# The id is the boot and the start: sent again, the run counts once. Ends with 0 if it is recorded.
set -eu
grinder=$1 boot=$2 uptime=$3 start=$4 grams=$5 seconds=$6

curl --silent --show-error --fail-with-body --max-time 10 --retry 3 --retry-connrefused \
  "$BURRLINE_URL/v1/runs" \
  -H "Authorization: Bearer $BURRLINE_KEY" \
  -H "Content-Type: application/json" \
  -H "X-Device-Boot: $boot" \
  -H "X-Device-Uptime: $uptime" \
  -d "{\"run_id\": \"$grinder:$boot:$start\", \"grinder_id\": \"$grinder\",
       \"boot_id\": \"$boot\", \"uptime_seconds\": $start,
       \"grams\": $grams, \"seconds\": $seconds}"
