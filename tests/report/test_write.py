from pathlib import Path

import record_factory

from floorfit.report.write import FILES, write_report


def test_report_is_four_files(tmp_path: Path) -> None:
    write_report(record_factory.no_surface(), tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(FILES)
