"""A wrong call of the command line is answered in one line that says what to do, exit code 2."""

import pytest
from click.testing import CliRunner

from service.cli import main
from service.commands.serve import command as serve


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["raed"], "No such command 'raed'. Did you mean read"),
        (["slid"], "Did you mean solid?"),
        (["batch", "ad"], "Did you mean 'add'?"),
        (["quux"], "See: "),
        (["read", "--profil", "x"], "--profile"),
    ],
)
def test_what_may_have_been_meant(args, words, capsys):
    with pytest.raises(SystemExit) as end:
        main(args)
    assert end.value.code == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1


@pytest.mark.parametrize("command", ["read", "tint", "solid"])
def test_a_folder_is_called_a_folder(command, tmp_path, capsys):
    profile = ["--profile", "service/demo/profile.toml"] if command == "read" else []
    with pytest.raises(SystemExit) as end:
        main([command, str(tmp_path), *profile])
    assert end.value.code == 2
    assert f"{tmp_path} is a folder: name the photos in it" in capsys.readouterr().err


def test_phones_can_not_join_at_the_machine_s_own_address():
    no_profile = ["--profile", "service/demo/strip.toml"]  # so that nothing is started
    warned = CliRunner().invoke(serve, ["--lan", "--host", "127.0.0.1", *no_profile])
    assert "no phone can join" in warned.output
    assert "no phone can join" not in CliRunner().invoke(serve, ["--lan", *no_profile]).output
