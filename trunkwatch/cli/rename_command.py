"""trunkwatch rename."""

from pathlib import Path

import click

from trunkwatch.cli.options import vineyard_argument


@click.command("rename")
@vineyard_argument
@click.option("--block", metavar="B", help="Block to rename, to take back or to bring back.")
@click.option("--vineyard", "owner", metavar="NAME", help="Vineyard to rename; '' is the one without a name.")
@click.option("--to", metavar="NAME", help="New label of the block, or new name of the vineyard.")
@click.option("--to-vineyard", metavar="NAME", help="Vineyard that the block belongs to from now on.")
@click.option("--take-back", is_flag=True, help="The block never was.")
@click.option("--with-records", is_flag=True, help="With --take-back: its findings, surveys, work and plants too.")
@click.option("--bring-back", is_flag=True, help="Let a block that was taken back stand again, with its records.")
def command(
    vineyard: Path,
    block: str | None,
    owner: str | None,
    to: str | None,
    to_vineyard: str | None,
    take_back: bool,
    with_records: bool,
    bring_back: bool,
) -> None:
    """Rename a block or a vineyard, or take a mistaken block back; no record is lost.

    Records that were written under an earlier name stay with their block.

    \b
    Example:
      trunkwatch rename my_vines --block North --to "North Hill"
      trunkwatch rename my_vines --vineyard "" --to "Hill Farm"
      trunkwatch rename my_vines --block "Hill Farm/North" --to-vineyard "Dale Farm"
      trunkwatch rename my_vines --block Nroth --take-back
    """
    from trunkwatch.intake import rename

    new = [text for text in (to, to_vineyard) if text is not None]
    if sum([bool(new), take_back, bring_back]) != 1:
        raise click.UsageError("one of: --to NAME (or --to-vineyard NAME), --take-back, --bring-back")
    if any(not text.strip() for text in new):
        raise click.UsageError("the new name is empty: --to and --to-vineyard take a name")
    if with_records and not take_back:
        raise click.UsageError("--with-records goes with --take-back only")
    if (block is None) == (owner is None):
        raise click.UsageError("what is to be renamed? --block B or --vineyard NAME, one of them")
    if owner is not None:
        if to is None or to_vineyard is not None:
            raise click.UsageError("--vineyard NAME goes with --to NAME only")
        blocks = rename.rename_vineyard(vineyard, owner, to)
        click.echo(
            f"{owner or 'the vineyard without a name'} is called {to.strip()} now; its blocks: {', '.join(blocks)}"
        )
        return
    name = str(block)
    if take_back:
        added = rename.take_back(vineyard, name, with_records=with_records)
        many = sum(added.new.values()) - added.new.get("blocks", 0) - added.new.get("rows", 0)
        told = f", with {many:,} record{'s' if many != 1 else ''}" if many else ""
        click.echo(f"block {name} was taken back{told}; --bring-back lets it stand again")
    elif bring_back:
        added = rename.bring_back(vineyard, name)
        many = sum(added.new.values()) - added.new.get("blocks", 0) - added.new.get("rows", 0)
        told = f", with {many:,} record{'s' if many != 1 else ''}" if many else ""
        click.echo(f"block {name} stands again{told}")
    else:
        now = rename.rename_block(vineyard, name, label=to or "", vineyard=to_vineyard or "")
        click.echo(f"block {name} is called {now} now; its records stay with it")
