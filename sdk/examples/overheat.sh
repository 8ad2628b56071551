#!/bin/sh
# Tells somebody, once, that a grinder's motor is too hot, and once when it is well again.
#
#     BURRLINE_URL=http://127.0.0.1:8460
#     */2 * * * *  /opt/cafe/overheat.sh bar-1 /etc/cafe/burrline.key
#
# It only tells; it never switches a grinder on or off. TELL is the command that gets the line on
# its standard input (default: the system log). A lock keeps runs that take long from overlapping.
set -u
grinder=$1 key_file=$2
: "${TELL:=logger -t burrline}" "${STATE_DIR:=${XDG_STATE_HOME:-$HOME/.local/state}/burrline}"
: "${BURRLINE:=burrline}"
mkdir -p "$STATE_DIR" || exit 73

exec 9>"$STATE_DIR/overheat-$grinder.lock"
flock --nonblock 9 || exit 0 # the one before is still at it

line=$($BURRLINE check "$grinder" --require motor --key-file "$key_file" 2>&1)
code=$?
told="$STATE_DIR/overheat-$grinder.told"
before=$(cat "$told" 2>/dev/null || echo 0)

# 0 ok, 1 caution, 2 alert, 3 unknown; what could not be asked is unknown too
if [ "$code" != "$before" ]; then
  case "$before$code" in
    01 | 10) ;; # warm is no news
    *) printf '%s\n' "${line%% |*}" | $TELL || exit 75 ;; # not told: try again next time
  esac
  printf '%s\n' "$code" >"$told.new" && mv "$told.new" "$told"
fi
