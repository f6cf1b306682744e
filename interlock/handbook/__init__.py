"""One page that explains an installation: sentences, drawings, verdicts, faults, cases, a card for the wall."""
