"""`vfod completion`: a script for the shell, written from what the verbs say of themselves.

Names that only the configuration or the daemon knows are asked for when the key is pressed.
"""

from collections.abc import Callable, Mapping, Sequence

from vfod.cli.description import Description
from vfod.cli.parser import Parser
from vfod.events.plain import KINDS

#: Words that are no verbs of the table.
_MORE = ("help", "--help", "--version")

#: Values that a parser leaves open because it explains a wrong one itself.
_VALUES = {("journal", "--kind"): " ".join(sorted(KINDS))}

#: Where a name may come, by the verb and the word before it, or as the first word after a verb.
_NAMED = {("sweep", "start"): "$(_vfod_sweeps)"}
_FIRST = {"band": "$(_vfod_bands)", "plan": "$(_vfod_sweeps)"}

#: What both shells read alike: from $verb, $word, $before to $offered.
_OFFERED = r"""    if ((@behind@ == 1)); then
        offered="@verbs@"
    else
        case "$verb $before" in
            @values@
            *) case "$verb $word" in
                @options@
                *) if ((@behind@ == 2)); then
                    case "$verb" in
                        @words@
                    esac
                fi ;;
            esac ;;
        esac
    fi
"""

_BASH = r"""# Completion of vfod in bash, written by `vfod completion bash`.

_vfod_sweeps() { "${COMP_WORDS[0]}" sweep list 2>/dev/null | sed -n 's/^\([a-z0-9-]*\):.*/\1/p'; }
_vfod_bands() { "${COMP_WORDS[0]}" band list 2>/dev/null | sed 's/ .*//'; }

_vfod() {
    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]}
    local verb=${COMP_WORDS[1]} offered=""
@offered@
    mapfile -t COMPREPLY < <(compgen -W "$offered" -- "$word")
}

# Where nothing is offered, names of files are.
complete -o default -F _vfod vfod
"""

_ZSH = r"""#compdef vfod
# Completion of vfod in zsh, written by `vfod completion zsh`.

_vfod_sweeps() { "${words[1]}" sweep list 2>/dev/null | sed -n 's/^\([a-z0-9-]*\):.*/\1/p'; }
_vfod_bands() { "${words[1]}" band list 2>/dev/null | sed 's/ .*//'; }

_vfod() {
    local word=${words[CURRENT]} before=${words[CURRENT - 1]} verb=${words[2]} offered=""
@offered@
    # Where nothing is offered, names of files are.
    if [[ -n $offered ]]; then compadd -- ${=offered}; else _files; fi
}

# Read as a file of $fpath it is the function itself; by `source` it must be made known.
if [[ ${funcstack[1]} == _vfod ]]; then _vfod "$@"; else compdef _vfod vfod; fi
"""

#: The script of each shell, and how many words are behind the command there.
_SHELLS = {"bash": (_BASH, "COMP_CWORD"), "zsh": (_ZSH, "CURRENT - 1")}


def completion(words: list[str], described: Callable[[], list[Description]]) -> int:
    """Print the script."""
    parser = Parser(
        "completion",
        "A script that lets the shell complete verbs, options, and the names of sweeps and bands.\n"
        "`vfod service install` puts it where bash and zsh look for it.",
        "vfod completion bash > ~/.local/share/bash-completion/completions/vfod",
        "vfod completion zsh > ~/.zsh/functions/_vfod",
    )
    parser.add_argument("shell", choices=tuple(_SHELLS))
    given = parser.parse_args(words)
    print(script(described(), given.shell), end="")
    return 0


def script(found: Sequence[Description], shell: str) -> str:
    """The script for `bash` or `zsh`."""
    verbs = [one.verb for one in found]
    values = {f"{verb} {before}": names for (verb, before), names in _NAMED.items()}
    options, words = {}, {"help": " ".join(verbs)}
    for one in found:
        for name, choices in one.options.items():
            if choices is not None:
                known = _VALUES.get((one.verb, name), " ".join(choices))
                values[f"{one.verb} {name}"] = known
        options[one.verb] = " ".join(one.options)
        if first := " ".join([*one.words, *filter(None, [_FIRST.get(one.verb)])]):
            words[one.verb] = first
    parts = {
        "verbs": " ".join([*verbs, *_MORE]),
        "values": _cases({f'"{key}"': offered for key, offered in values.items()}, 12),
        "options": _cases({f'"{verb} -"*': offered for verb, offered in options.items()}, 16),
        "words": _cases(words, 24),
    }
    text, behind = _SHELLS[shell]
    text = text.replace("@offered@", _OFFERED.rstrip()).replace("@behind@", behind)
    for name, part in parts.items():
        text = text.replace(f"@{name}@", part)
    return text


def _cases(offers: Mapping[str, str], indented: int) -> str:
    patterns: dict[str, list[str]] = {}
    for pattern, offered in offers.items():
        patterns.setdefault(offered, []).append(pattern)
    return f"\n{' ' * indented}".join(
        f'{" | ".join(alike)}) offered="{offered}" ;;' for offered, alike in patterns.items()
    )
