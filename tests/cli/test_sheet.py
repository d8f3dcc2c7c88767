"""`railwright sheet`: a PDF or SVG page, also where something speaks against it."""

PROCEDURE = "power-input.procedure.yaml"


def test_it_writes_a_pdf_beside_the_procedure_and_an_svg_where_asked(documents, cli):
    result = cli("sheet", PROCEDURE)
    assert result.exit_code == 0, result.output
    assert result.stdout.strip() == "power-input.sheet.pdf"
    assert (documents / "power-input.sheet.pdf").read_bytes().startswith(b"%PDF")
    assert cli("sheet", PROCEDURE, "--to", "page.svg").exit_code == 0
    assert "<svg" in (documents / "page.svg").read_text("utf-8")[:200]


def test_another_kind_of_file_is_refused(documents, cli):
    result = cli("sheet", PROCEDURE, "--to", "page.docx")
    assert result.exit_code == 2
    assert result.stderr == "--to: expected a file that ends in .pdf or .svg, got 'page.docx'\n"


def test_a_finding_that_stops_gives_exit_code_3_and_still_a_sheet(documents, cli, edit):
    edit(PROCEDURE, "ovp: 18 V", "ovp: 30 V")
    assert cli("sheet", PROCEDURE).exit_code == 3
    assert (documents / "power-input.sheet.pdf").exists()
