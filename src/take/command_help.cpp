#include "src/take/commands.hpp"

namespace lowstride::take {

const std::vector<EditOptionHelp>& edit_option_help() {
  static const std::vector<EditOptionHelp> help{
      {"confirm", "all|T|FROM..TO",
       "What stands there, or begins at T, is right; analysis leaves it alone from now on."},
      {"set-note", "T=PITCH",
       "The note there has this pitch: a name (Eb2; C4 is middle C) or a number."},
      {"remove", "T|FROM..TO", "No note begins there, and none is proposed there again."},
      {"add-note", "FROM..TO=PITCH", "A note that was missed."},
      {"dead", "T", "The note there is a dead note."},
      {"doubt", "T|FROM..TO", "The notes there are doubtful, whatever was said before."},
      {"hammer", "T", "The note there is hammered on, or pulled off, from the one before it."},
      {"slide", "T", "The finger of the note before slides to the note there."},
      {"pluck", "T", "The note there is plucked after all."},
      {"pin", "T=STRING:FRET", "The note there is played there; 1 is the highest string."},
      {"unpin", "all|T|FROM..TO", "String and fret of the notes there are free again."},
      {"set-chord", "T|FROM..TO=LABEL",
       "The chord from there to the next change, or over the stretch."},
      {"remove-chord", "T", "No change there: the chord before goes on."},
      {"beat-one", "T[=BAR]", "The beat there is one (of that bar); bars are counted from it."},
      {"add-beat", "T", "A beat that was missed."},
      {"move-beat", "T=T", "The beat there is somewhat earlier or later."},
      {"remove-beat", "T", "There is no beat."},
      {"meter", "3/4", "Beats in a bar."},
      {"key", "KEY", "The key, as Bb or Gm."},
      {"tuning", "HZ", "The frequency of A4."},
      {"title", "TEXT", "The title."},
      {"composer", "TEXT", "The composer."},
      {"form", "TEXT", "The form, as twelve-bar blues."},
      {"passage", "NAME=FROM..TO", "Names a stretch, for looping and practice."},
      {"remove-passage", "NAME", "Forgets a named stretch."},
      {"remark", "T=TEXT", "A remark about the bar (b3) or the note there, printed on the sheets."},
      {"remove-remark", "T", "Takes the remark there away."},
  };
  return help;
}

}  // namespace lowstride::take
