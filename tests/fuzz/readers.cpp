#include "tests/fuzz/readers.hpp"

#include <stdlib.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <utility>
#include <vector>

#include "src/analysis/chord_chart.hpp"
#include "src/analysis/evidence_cache.hpp"
#include "src/audio/decoder_process.hpp"
#include "src/drill/history.hpp"
#include "src/neck/named_necks.hpp"
#include "src/notation/read.hpp"
#include "src/take/commands.hpp"
#include "src/take/journal.hpp"
#include "src/take/take_json.hpp"
#include "src/take/time_text.hpp"
#include "src/take/validate.hpp"
#include "src/theory/chord_label.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::fuzz {
namespace {

namespace fs = std::filesystem;

std::atomic<long> child_deaths{0};

/// A promise that must hold whatever the bytes are.
void promise(bool holds, const char* what) {
  if (holds) return;
  std::fprintf(stderr, "Broken promise: %s\n", what);
  std::abort();
}

/// An error is a sentence for a person.
template <typename T>
Outcome outcome_of(const Result<T>& result) {
  if (result) return Outcome::read;
  const std::string& message = result.error().message;
  promise(!message.empty(), "an error has a message");
  return Outcome::refused;
}

/// A folder in memory where there is one, for readers that want a file; gone at the end.
class Scratch {
 public:
  Scratch() {
    std::error_code error;
    std::string pattern = fs::is_directory("/dev/shm", error)
                              ? std::string("/dev/shm/lowstride-fuzz-XXXXXX")
                              : (fs::temp_directory_path() / "lowstride-fuzz-XXXXXX").string();
    promise(::mkdtemp(pattern.data()) != nullptr, "there is room for a folder");
    folder_ = pattern;
  }
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  ~Scratch() {
    std::error_code error;
    fs::remove_all(folder_, error);
  }
  void clear() const {
    for (const auto& entry : fs::directory_iterator(folder_)) fs::remove_all(entry.path());
  }
  [[nodiscard]] fs::path put(const std::string& name, std::string_view bytes) const {
    std::ofstream(folder_ / name, std::ios::binary) << bytes;
    return folder_ / name;
  }
  [[nodiscard]] const fs::path& folder() const { return folder_; }

 private:
  fs::path folder_;
};

const Scratch& scratch() {
  static const Scratch folder;
  folder.clear();
  return folder;
}

const take::Take& example() {
  static const take::Take take = take::testing_help::example_take();
  return take;
}

void check_whole(const take::Take& take) {
  promise(take::check_take(take).has_value(), "what was read is a take that makes sense");
  const auto again = take::take_from_json(take::take_to_json(take), "again");
  promise(again.has_value() && *again == take, "a take is equal after saving and loading");
}

Outcome read_take(std::string_view bytes) {
  const auto take = take::take_from_json(bytes, "line.take");
  if (take) check_whole(*take);
  return outcome_of(take);
}

Outcome read_journal(std::string_view bytes) {
  const auto journal = take::detail::read_journal(bytes, "line.take.journal");
  if (!journal) return outcome_of(journal);
  promise(journal->good_bytes <= bytes.size(), "a journal ends where its bytes end");
  take::Take take = example();
  for (const take::Edit& edit : journal->edits) {
    if (!take::apply(take, edit)) break;
  }
  check_whole(take);
  return journal->edits.empty() ? Outcome::refused : Outcome::read;
}

/// Edits as a journal holds them, one a line, without the sums that keep a mutation out.
Outcome read_edits(std::string_view bytes) {
  take::Take take = example();
  Outcome outcome = Outcome::refused;
  for (std::size_t lines = 0; !bytes.empty() && lines < 50; ++lines) {
    const std::size_t end = std::min(bytes.find('\n'), bytes.size());
    const auto edit = take::edit_from_json(bytes.substr(0, end));
    bytes.remove_prefix(std::min(end + 1, bytes.size()));
    if (!edit) continue;
    const auto again = take::edit_from_json(take::edit_to_json(*edit));
    promise(again.has_value() && *again == *edit, "an edit is equal after writing and reading");
    const take::Take before = take;
    const auto undo = take::apply(take, *edit);
    if (!undo) {
      promise(take == before, "a refused edit changes nothing");
      continue;
    }
    outcome = Outcome::read;
    promise(take::check_take(take).has_value(), "no edit leads to a take that makes no sense");
    take::Take back = take;
    promise(take::apply(back, *undo).has_value() && back == before, "an undo undoes");
  }
  check_whole(take);
  return outcome;
}

Outcome check_read(const Result<notation::ReadTake>& read) {
  if (read) check_whole(read->take);
  return outcome_of(read);
}

Outcome read_midi(std::string_view bytes) {
  return check_read(notation::read_midi(scratch().put("line.mid", bytes)));
}

Outcome read_musicxml(std::string_view bytes) {
  return check_read(notation::read_musicxml(scratch().put("line.musicxml", bytes)));
}

/// The four tables in one text, each begun by a line `== ENDING`.
Outcome read_tables(std::string_view bytes) {
  constexpr std::array<std::string_view, 4> endings{".notes.tsv", ".chords.lab", ".beats.tsv",
                                                    ".tuning.txt"};
  const Scratch& folder = scratch();
  for (const std::string_view ending : endings) {
    const std::string head = "== " + std::string(ending) + "\n";
    const std::size_t at = bytes.find(head);
    if (at == std::string_view::npos) continue;
    const std::string_view rest = bytes.substr(at + head.size());
    const std::size_t end = rest.find("\n== ");
    static_cast<void>(folder.put("line" + std::string(ending),
                                 end == std::string_view::npos ? rest : rest.substr(0, end + 1)));
  }
  return check_read(notation::read_tables(folder.folder() / "line"));
}

Outcome read_tuning(std::string_view bytes) {
  const auto neck = neck::with_tuning(neck::named_necks().front(), bytes);
  if (neck) {
    promise(neck::check(*neck).has_value(), "a neck that was read makes sense");
    const auto again = neck::with_tuning(*neck, neck::tuning_text(*neck));
    promise(again.has_value() && *again == *neck, "a tuning reads as it is written");
  }
  return outcome_of(neck);
}

/// Each line is a time, a stretch, and an option of `lowstride edit` as `name value`.
Outcome read_times(std::string_view bytes) {
  const take::Take& take = example();
  Outcome outcome = Outcome::refused;
  std::vector<take::EditOption> options;
  for (std::size_t lines = 0; !bytes.empty() && lines < 50; ++lines) {
    const std::size_t end = std::min(bytes.find('\n'), bytes.size());
    const std::string_view line = bytes.substr(0, end);
    bytes.remove_prefix(std::min(end + 1, bytes.size()));
    const auto time = take::parse_time(line, take);
    if (time) {
      promise(*time >= 0 && *time <= take.length_samples, "a time lies in the take");
      const auto again = take::parse_time(take::format_place(*time, take), take);
      promise(again.has_value(), "a place reads as it is written");
      outcome = Outcome::read;
    }
    const auto stretch = take::parse_stretch(line, take);
    if (stretch) {
      promise(stretch->begin_samples < stretch->end_samples, "a stretch has a length");
      outcome = Outcome::read;
    }
    static_cast<void>(outcome_of(take::parse_seconds(line)));
    const std::size_t space = line.find(' ');
    if (space != std::string_view::npos) {
      options.push_back({std::string(line.substr(0, space)), std::string(line.substr(space + 1))});
    }
  }
  const auto edit = take::edit_from_options(take, options);
  if (edit && !options.empty()) {
    take::Take changed = take;
    if (take::apply(changed, *edit)) check_whole(changed);
    outcome = Outcome::read;
  }
  static_cast<void>(outcome_of(edit));
  return outcome;
}

/// A chord label, a pitch and a key on each line; and the whole as a chart of chords.
Outcome read_chords(std::string_view bytes) {
  Outcome outcome = outcome_of(analysis::ChordChart::read(scratch().put("chords.txt", bytes)));
  for (std::size_t lines = 0; !bytes.empty() && lines < 50; ++lines) {
    const std::size_t end = std::min(bytes.find('\n'), bytes.size());
    const std::string_view line = bytes.substr(0, end);
    bytes.remove_prefix(std::min(end + 1, bytes.size()));
    const auto chord = theory::parse_chord(line);
    if (chord) {
      for (const auto& text :
           {theory::harte_label(chord->chord), theory::chart_label(chord->chord)}) {
        const auto again = theory::parse_chord(text);
        promise(again.has_value() && again->chord == chord->chord,
                "a chord reads as it is written");
      }
      outcome = Outcome::read;
    }
    if (const auto pitch = theory::parse_pitch(line)) {
      promise(*pitch >= 0 && *pitch <= 127, "a pitch lies in its range");
      outcome = Outcome::read;
    }
    if (const auto key = theory::parse_key(line)) {
      promise(theory::parse_key(theory::key_text(*key)) == key, "a key reads as it is written");
      outcome = Outcome::read;
    }
  }
  return outcome;
}

/// The pages of a drill history.
Outcome read_history(std::string_view bytes) {
  const Scratch& folder = scratch();
  const fs::path path = folder.put("Mia.history", bytes);
  const auto history = drill::History::open(path);
  if (!history) return outcome_of(history);
  const bool is_read = history->states() && history->answers() && history->takes() &&
                       history->weights() && history->item_histories();
  if (!history->messages().empty()) {
    const fs::path aside = path.string() + ".damaged-1";
    std::ifstream stream(aside, std::ios::binary);
    const std::string kept{std::istreambuf_iterator<char>(stream), {}};
    promise(kept == bytes, "a damaged history is kept as it was");
    return Outcome::refused;
  }
  return is_read ? Outcome::read : Outcome::refused;
}

/// What a decoder writes to its parent. The child is a program that writes the bytes and ends,
/// which without a last word is a death.
Outcome read_decoder_pipe(std::string_view bytes) {
  audio::OpenOptions options;
  options.decoder = "/bin/cat";
  const fs::path path = scratch().put("phone.m4a", bytes);
  const auto died = [](const Error& error) {
    if (error.message.find("broke off") != std::string::npos) ++child_deaths;
    return Outcome::refused;
  };
  const auto decoder = audio::DecoderProcess::start(path, options, {});
  if (!decoder) {
    static_cast<void>(outcome_of(decoder));
    return died(decoder.error());
  }
  const auto channels = static_cast<std::size_t>((*decoder)->channel_count());
  promise(channels >= 1 && (*decoder)->sample_rate_hz() >= 1, "a stream has channels and a rate");
  for (;;) {
    const auto block = (*decoder)->next_block();
    if (!block) return died(block.error());
    if (block->empty()) break;
    promise(block->size() % channels == 0, "a block holds whole samples");
  }
  for (const std::string& text :
       {(*decoder)->title(), (*decoder)->artist(), (*decoder)->format_name()}) {
    for (const char letter : text) {
      promise(static_cast<unsigned char>(letter) >= 0x20 && letter != 0x7F,
              "no control character comes out of a tag");
    }
  }
  return Outcome::read;
}

Outcome read_evidence(std::string_view bytes) {
  const auto evidence = analysis::unpack_evidence(bytes);
  if (!evidence) return Outcome::refused;
  const auto again = analysis::unpack_evidence(analysis::pack_evidence(*evidence));
  promise(again.has_value(), "evidence that was read can be kept again");
  return Outcome::read;
}

constexpr std::array all{Reader{"take", read_take},
                         Reader{"journal", read_journal},
                         Reader{"edits", read_edits},
                         Reader{"tables", read_tables},
                         Reader{"midi", read_midi},
                         Reader{"musicxml", read_musicxml},
                         Reader{"tuning", read_tuning},
                         Reader{"times", read_times},
                         Reader{"chords", read_chords},
                         Reader{"history", read_history},
                         Reader{"decoder_pipe", read_decoder_pipe},
                         Reader{"evidence", read_evidence}};

}  // namespace

std::span<const Reader> readers() { return all; }

long child_death_count() noexcept { return child_deaths.load(); }

}  // namespace lowstride::fuzz
