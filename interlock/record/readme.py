"""What stands in the record for a stranger who has never heard of this tool."""

from __future__ import annotations

README = "README.txt"
EARLIER = "data/earlier-visits-sha512.txt"

TEXT = """\
A RECORD OF ONE INSTALLATION

This folder tells how a battery-electric power system was found on one or more visits: its protection logic (the
"scheme"), what was proved about it, the results of tests on the spot, photographs of its connections, notes, who and
when. Each visit has a folder of its own: visit-001 is the oldest. Nothing in an older one is ever changed.

WHAT IS IN A VISIT (visit-NNN/data/)

  visit.txt        who, when, what was found, which connections have no photograph: begin here
  visit.json       the same for programs, and which photograph shows which connection
  scheme.yaml      the protection logic as a text that people can read
  verdicts/        prove.json (what must never happen, and whether it can), check.json (doubts), cases.json (examples)
  results/         results of test sheets
  photographs/     each file's name says which terminal, wire or part it shows
  attachments/     anything else
  notes.txt        notes
  earlier-visits-sha512.txt   the digest of every file of every earlier visit, as it was then

HOW TO CHECK IT WITH STANDARD TOOLS

Each visit is a "bag" by RFC 8493 (The BagIt File Packaging Format, version 1.0). Any BagIt validator can check it. By
hand, on any system with the GNU core utilities or the like, begin in the folder of this text:

1. Nothing in a visit was changed or lost: for each visit

     cd visit-001
     sha512sum --check manifest-sha512.txt
     sha512sum --check tagmanifest-sha512.txt
     cd ..

   Every line must end with OK. (The same with sha256sum and the files named sha256.)

2. Nothing was added: for each visit

     cd visit-001
     cut -d ' ' -f 3- manifest-sha512.txt tagmanifest-sha512.txt | LC_ALL=C sort > /tmp/listed
     find . -type f ! -name 'tagmanifest-*.txt' | sed 's|^[.]/||' | LC_ALL=C sort > /tmp/there
     diff /tmp/listed /tmp/there
     cd ..

   diff must print nothing.

3. No older visit was altered, not even together with its own list of digests: with the newest visit that is there

     sha512sum --check visit-002/data/earlier-visits-sha512.txt

   Every line must end with OK. (With one visit alone there is nothing to check.)

4. The newest visit itself is what was made: the first columns of

     sha256sum visit-002/tagmanifest-sha512.txt

   (again with the newest visit) must be the seal that was written down elsewhere when that visit was recorded, on the
   printed sheet or in a log book. Without the seal nobody can tell whether the newest visit was replaced or taken
   away as a whole.

HOW TO CHECK WHAT IT SAYS

The program that made it ("interlock", the version stands in visit.txt) checks all of the above and works out the
verdicts again: interlock record verify FOLDER. Where its answers differ from those stored it says which.

CAUTION

A record tells what someone found on a day. It certifies nothing, and says nothing of what was changed since. A battery
holds its energy at all times and cannot be switched off: a short circuit carries thousands of amperes, and an arc in a
DC circuit does not go out by itself. Before you touch anything, isolate, wear protective equipment, follow the local
code and the makers' manuals, and leave the work to those licensed for it.
"""
