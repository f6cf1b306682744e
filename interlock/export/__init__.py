"""One unit's rules as source text for somebody's controller: portable C99, and structured text of IEC 61131-3."""
