"""`tint separate` says what the layers have to say."""

import json

from calling import tint


def test_plain_colours_that_come_out_as_one_are_told_once_and_kept(shop, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    body = '<rect width="9" height="9" fill="#ffe000"/><rect x="9" width="9" height="9" fill="#fff7c0"/>'
    (tmp_path / "reed.svg").write_text(f'<svg xmlns="http://www.w3.org/2000/svg" width="18mm" height="9mm" viewBox="0 0 18 9">{body}</svg>')
    done = tint("separate", "reed.svg", str(shop / "simulated" / "palette.json"), "-o", "layers")
    assert done.exit_code == 0 and done.stderr.count("colours that come out as one: #ffe000 and #fff7c0") == 1, done.output
    remarks = json.loads((tmp_path / "layers" / "layers.json").read_text(encoding="utf-8"))["remarks"]
    assert sum("come out as one" in line for line in remarks) == 1
