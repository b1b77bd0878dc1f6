"""The whole book as one file, for either database: rows, evidence, keys, and by what each is known again."""
