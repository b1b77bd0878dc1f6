"""A statement's figures, as a reader looks them up."""


def figures_of(statement):
    return {row.label: list(row.figures) for row in statement.rows if row.figures}
