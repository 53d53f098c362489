#!/bin/sh
# Make sure that programs which are no Python packages are there: `system.sh command:package ...`.
# What is no command is given by its full path, in which the shell's patterns may stand.
# As root it installs what is missing; otherwise, or when that fails, one line says what is missing
# and it goes on, because the caller knows what it can do without.
set -u
PATH=$PATH:/usr/sbin:/sbin

missing() {
    for pair in "$@"; do
        what=${pair%%:*}
        case $what in
            # shellcheck disable=SC2086 # a pattern is to be expanded
            /*) ls -d $what ;;
            *) command -v "$what" ;;
        esac >/dev/null 2>&1 || echo "${pair#*:}"
    done | sort -u | xargs
}

packages=$(missing "$@")
[ -n "$packages" ] || exit 0

if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "installing: $packages"
    # Wanted for their programs: none of their services is to be started.
    policy=/usr/sbin/policy-rc.d
    if [ ! -e "$policy" ]; then
        trap 'rm -f "$policy"' EXIT
        trap 'exit 1' INT TERM
        printf '#!/bin/sh\nexit 101\n' >"$policy"
        chmod 755 "$policy"
    fi
    export DEBIAN_FRONTEND=noninteractive
    {
        apt-get update -qq
        for package in $packages; do
            apt-get install -qq -y --no-install-recommends "$package"
        done
    } 2>&1 </dev/null >/dev/null | grep '^E:'
    packages=$(missing "$@")
fi
[ -z "$packages" ] || echo "missing: $packages (apt-get install $packages); going on without"
