# Sourced by packaging/demo and packaging/test: finding what is needed, and
# installing it where this may. Nothing here is run by itself.

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cache=${XDG_CACHE_HOME:-$HOME/.cache}/chalkhand
# The target folder lies outside the checkout, so that every checkout reuses it.
export CARGO_TARGET_DIR=${CARGO_TARGET_DIR:-$cache/target}
export CHALKHAND_MODELS=${CHALKHAND_MODELS:-$cache/models}

die() {
    echo "${0##*/}: $*" >&2
    exit 1
}

# need PACKAGE COMMAND...: Debian packages by the command or file they bring.
missing=()
need() {
    local package=$1 found
    shift
    for found in "$@"; do
        case $found in
        /*) [ -e "$found" ] || missing+=("$package") ;;
        *) command -v "$found" > /dev/null || missing+=("$package") ;;
        esac
    done
}

# Installs what `need` found missing: as root, through sudo, or says what to do.
install_missing() {
    [ ${#missing[@]} -gt 0 ] || return 0
    local packages as=()
    mapfile -t packages < <(printf '%s\n' "${missing[@]}" | sort -u)
    if ! command -v apt-get > /dev/null; then
        die "missing: ${packages[*]} (names of Debian packages); install them and run this again"
    fi
    if [ "$(id -u)" != 0 ]; then
        command -v sudo > /dev/null ||
            die "missing: ${packages[*]}; as root run: apt-get install ${packages[*]}"
        as=(sudo)
    fi
    echo "installing ${packages[*]}"
    export DEBIAN_FRONTEND=noninteractive
    "${as[@]}" apt-get update -qq ||
        echo "${0##*/}: the package lists could not be renewed; trying with those at hand" >&2
    "${as[@]}" apt-get install -y -qq --no-install-recommends "${packages[@]}" > /dev/null ||
        die "could not install ${packages[*]}; install them by hand and run this again"
}

need_rust() {
    command -v cargo > /dev/null ||
        die "Rust is missing; install it (rustup or your system's packages, 1.95 or newer) and run this again"
}

# The headers of the system's sound library, and the tool that finds them.
need_sound() {
    need libasound2-dev /usr/include/alsa/asoundlib.h
    need pkg-config pkg-config
}

# Python without its venv module cannot make environments.
need_python() {
    need python3 python3
    if command -v python3 > /dev/null && ! python3 -c 'import venv, ensurepip' 2> /dev/null; then
        missing+=(python3-venv)
    fi
}
