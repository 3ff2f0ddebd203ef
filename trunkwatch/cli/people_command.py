"""trunkwatch people."""

from pathlib import Path

import click

from trunkwatch.cli.options import vineyard_argument


@click.command("people")
@vineyard_argument
@click.option("--add", metavar="NAME", help="Add a person; the code is shown once.")
@click.option(
    "--may",
    multiple=True,
    metavar="RIGHTS",
    help="With --add: look, log, correct-own, correct-all, import, keep; or reader, scout, manager, keeper.  [default: scout]",
)
@click.option("--new-code", metavar="NAME", help="Give a person a new code; the old one ends.")
@click.option("--remove", metavar="NAME", help="Let a person in no more, from now on; the person's phones are stopped.")
def command(vineyard: Path, add: str | None, may: tuple[str, ...], new_code: str | None, remove: str | None) -> None:
    """List who may enter the desk and do what; add or remove a person.

    Without people one access code lets everybody do everything. With people everybody has a code of
    their own, and every record says who saved it. Codes are kept as hashes in a private folder
    beside the file (my_vines.gpkg.desk), which must not be mailed.

    \b
    Example:
      trunkwatch people my_vines.gpkg
      trunkwatch people my_vines.gpkg --add Ana --may keeper
      trunkwatch people my_vines.gpkg --add Ben --may look,log
      trunkwatch people my_vines.gpkg --remove Ben
    """
    if sum(one is not None for one in (add, new_code, remove)) > 1:
        raise click.UsageError("one at a time: --add NAME, --new-code NAME or --remove NAME")
    if may and add is None:
        raise click.UsageError("--may goes with --add NAME")
    from trunkwatch.access import people
    from trunkwatch.access.audit import Done, note
    from trunkwatch.access.may import read_rights, rights_text
    from trunkwatch.access.phones import let_go
    from trunkwatch.errors import FileError
    from trunkwatch.store import refuse_shared

    refuse_shared(vineyard, "`trunkwatch people`", "logins and rights are those of the server")
    if not vineyard.exists():
        raise FileError(f"no file {str(vineyard)!r}; `trunkwatch new {vineyard}` starts one")
    if remove is not None:
        gone, phones = let_go(vineyard, remove)
        note(vineyard, Done.REMOVED, "command line", person=gone.name, phones=len(phones))
        stopped = f"; stopped with it: {', '.join(one.name for one in phones)}" if phones else ""
        click.echo(f"{gone.name} is let in no more{stopped}")
        if not any(one.lives for one in people.people_of(vineyard).values()):
            click.echo(
                "Nobody is set up any more: the desk lets everybody in who may reach it, or knows its access code.",
                err=True,
            )
        return
    if add is None and new_code is None:
        living = [one for one in people.people_of(vineyard).values() if one.lives]
        for one in living:
            click.echo(f"{one.name}: {rights_text(one.may)}; code since {one.since[:10]}")
        if not living:
            click.echo(
                "Nobody is set up: whoever may enter the desk may do everything. --add NAME --may keeper is the first."
            )
        return
    if add is not None:
        person, code = people.add_person(vineyard, add, read_rights(may or ("scout",)))
        note(vineyard, Done.ADDED, "command line", person=person.name, may=rights_text(person.may))
    else:
        person, code = people.new_code(vineyard, str(new_code))
        note(vineyard, Done.NEW_CODE, "command line", person=person.name)
    click.echo(f"{person.name} may: {rights_text(person.may)}")
    click.echo(f"code: {code}   (shown this once; nobody can read it again)")
