"""The desk has no nouns of its own; Django tells only rooms with this module that the tables are made."""
