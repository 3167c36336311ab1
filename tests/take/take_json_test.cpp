#include "src/take/take_json.hpp"

#include <random>
#include <string>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "src/take/harmony.hpp"
#include "src/take/json_archive.hpp"
#include "src/take/validate.hpp"
#include "tests/take/example_take.hpp"

namespace lowstride::take {
namespace {

using testing_help::EditMaker;
using testing_help::example_take;

/// The text with the first `what` replaced.
std::string with(std::string text, const std::string& what, const std::string& by) {
  const auto at = text.find(what);
  EXPECT_NE(at, std::string::npos) << what;
  if (at != std::string::npos) text.replace(at, what.size(), by);
  return text;
}

TEST(TakeJson, a_take_and_each_edit_are_the_same_after_writing_and_reading) {
  for (std::uint32_t seed = 300; seed < 320; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    EditMaker maker(seed);
    Take take = example_take();
    for (int i = 0; i < 40; ++i) {
      const Edit edit = maker.make(take);
      const auto edit_again = edit_from_json(edit_to_json(edit));
      ASSERT_TRUE(edit_again) << edit_to_json(edit);
      if (const auto* title = std::get_if<SetTitle>(&edit); !title || is_plain_text(title->title)) {
        ASSERT_EQ(*edit_again, edit);
      }
      const auto undo = take::apply(take, edit);
      if (!undo) continue;
      const auto undo_again = edit_from_json(edit_to_json(*undo));
      ASSERT_TRUE(undo_again) << edit_to_json(*undo);
      ASSERT_EQ(*undo_again, *undo);
      const std::string text = take_to_json(take);
      const auto again = take_from_json(text, "example.take");
      ASSERT_TRUE(again) << again.error().message;
      ASSERT_EQ(*again, take);
      ASSERT_EQ(take_to_json(*again), text);
    }
  }
}

/// As the text of some JSON is written where its fields are read and written again.
std::string written_again(const std::string& text) {
  std::string again;
  detail::append_line(again, *detail::parse_json(text));
  return again;
}

// The sums of a journal are over this text: it must not depend on the way it was written.
TEST(TakeJson, an_edit_is_written_as_its_json_would_be) {
  for (std::uint32_t seed = 500; seed < 530; ++seed) {
    SCOPED_TRACE(testing::Message() << "seed " << seed);
    EditMaker maker(seed);
    Take take = example_take();
    take.notes.front().unknown_fields_json = R"({"bowing": {"up": [1, 2.50]}})";
    EditGroup group{.name = "a \"group\"", .edits = {}};
    for (int i = 0; i < 40; ++i) {
      const Edit edit = maker.make(take);
      ASSERT_EQ(edit_to_json(edit), written_again(edit_to_json(edit)));
      const auto undo = take::apply(take, edit);
      if (!undo) continue;
      ASSERT_EQ(edit_to_json(*undo), written_again(edit_to_json(*undo)));
      group.edits.push_back(edit);
      group.edits.push_back(*undo);
    }
    const std::string text = edit_to_json(group);
    ASSERT_EQ(text, written_again(text));
    const auto again = edit_from_json(text);
    ASSERT_TRUE(again);
    ASSERT_EQ(edit_to_json(*again), text);
  }
}

TEST(TakeJson, every_chord_reading_survives) {
  Take take = example_take();
  take.chords.clear();
  for (int root = 0; root < 12; ++root) {
    for (int bass = 0; bass < 12; ++bass) {
      for (std::size_t quality = 0; quality < dsp::chord_quality_count; ++quality) {
        ChordSpan span;
        span.id = ChordId{take.next_id++};
        span.begin_samples = take.chords.empty() ? 0 : take.chords.back().end_samples;
        span.end_samples = span.begin_samples + 100;
        span.chord = {root, static_cast<dsp::ChordQuality>(quality), bass};
        take.chords.push_back(span);
      }
    }
  }
  const auto again = take_from_json(take_to_json(take), "example.take");
  ASSERT_TRUE(again) << again.error().message;
  EXPECT_EQ(again->chords, take.chords);
  take.chords[0].chord = {};
  EXPECT_EQ(*take_from_json(take_to_json(take), "example.take"), take);
}

TEST(TakeJson, is_for_people_one_entry_a_line) {
  const std::string text = take_to_json(example_take());
  EXPECT_EQ(text.rfind("{\n  \"format\": \"lowstride-take\",\n  \"version\": 1,\n", 0), 0U) << text;
  EXPECT_NE(text.find("\n    {\"id\": 1, \"time_samples\": 24000, \"bar\": 1, \"beat\": 1, "
                      "\"state\": \"proposed\", \"confidence\": 0.9},\n"),
            std::string::npos)
      << text;
  EXPECT_NE(text.find("\"chord\": \"Bb:7\""), std::string::npos);
  // The same text by a parser that is not ours to judge: any JSON reader can read it.
  const auto json = nlohmann::json::parse(text);
  EXPECT_EQ(json["notes"].size(), 32U);
  EXPECT_EQ(json["notes"][0]["alternatives"][0][0], 46);
}

TEST(TakeJson, fields_of_another_version_survive_at_every_level) {
  std::string text = take_to_json(example_take());
  text = with(text, "\"version\": 1,", "\"version\": 1,\n  \"mood\": {\"colour\": [1, \"blue\"]},");
  text = with(text, "\"channel_count\": 2", "\"channel_count\": 2, \"microphone\": \"ribbon\"");
  text = with(text, "\"scale_mm\"", "\"left_handed\": true, \"scale_mm\"");
  text = with(text, "{\"id\": 2, ", "{\"id\": 2, \"vibrato\": 0.25, ");
  text = with(text, "{\"id\": 1, ", "{\"id\": 1, \"fermata\": true, ");
  text = with(text, "\"chord\": \"Bb:7\"", "\"chord\": \"Bb:7\", \"voicing\": [1, 2]");
  const auto take = take_from_json(text, "example.take");
  ASSERT_TRUE(take) << take.error().message;
  EXPECT_EQ(take->notes[0].unknown_fields_json, "{\"vibrato\": 0.25}");
  EXPECT_EQ(take->beats[0].unknown_fields_json, "{\"fermata\": true}");
  const std::string again = take_to_json(*take);
  const auto json = nlohmann::json::parse(again);
  EXPECT_EQ(json["mood"]["colour"][1], "blue");
  EXPECT_EQ(json["recording"]["microphone"], "ribbon");
  EXPECT_EQ(json["neck"]["left_handed"], true);
  EXPECT_EQ(json["notes"][0]["vibrato"], 0.25);
  EXPECT_EQ(json["beats"][0]["fermata"], true);
  EXPECT_EQ(json["chords"][0]["voicing"].size(), 2U);
  EXPECT_EQ(*take_from_json(again, "example.take"), *take);
  // An edit keeps them too, and when the thing itself goes, so does what was said of it.
  Take edited = *take;
  ASSERT_TRUE(take::apply(edited, ReplaceNote{.id = take->notes[0].id, .midi = 40}));
  EXPECT_EQ(edited.notes[0].unknown_fields_json, "{\"vibrato\": 0.25}");
  edited.recording.reset();
  const auto without = take_from_json(take_to_json(edited), "example.take");
  ASSERT_TRUE(without) << without.error().message;
  EXPECT_FALSE(without->recording);
}

// Takes with and without such fields go two ways through the writer: they must look alike.
TEST(TakeJson, unknown_fields_change_nothing_else_in_the_text) {
  Take take = example_take();
  take.passages.push_back({PassageId{take.next_id++}, "a \"quoted\" naïve name", 0, 48000, {}});
  take.gaps = {{20 * 48000 - 100, 20 * 48000, {}}};
  const std::string plain = take_to_json(take);
  take.unknown_fields_json = "{\"mood\": 1}";
  take.notes[3].unknown_fields_json = "{\"vibrato\": 440.0}";
  std::string text = take_to_json(take);
  text = with(text, ",\n  \"mood\": 1", "");
  text = with(text, ", \"vibrato\": 440.0", "");
  EXPECT_EQ(text, plain);
}

TEST(TakeJson, says_the_role_of_each_note_and_why) {
  Take take = example_take();
  const auto json = nlohmann::json::parse(take_to_json(take));
  const auto roles = roles_of(take);
  ASSERT_EQ(json["notes"].size(), roles.size());
  for (std::size_t i = 0; i < roles.size(); ++i) {
    ASSERT_TRUE(roles[i]);
    EXPECT_EQ(json["notes"][i]["role"], theory::role_text(roles[i]->role));
    EXPECT_EQ(json["notes"][i]["role_reason"], roles[i]->reason);
  }
  // B flat and then C flat, a chromatic step, under B flat seven.
  EXPECT_EQ(json["notes"][0]["role"], "root");
  EXPECT_EQ(json["notes"][0]["role_reason"], "the root of Bb7");
  EXPECT_EQ(json["notes"][1]["role"], "chromatic passing note");
  take.chords.clear();
  EXPECT_FALSE(nlohmann::json::parse(take_to_json(take))["notes"][0].contains("role"));
}

TEST(TakeJson, a_role_that_no_longer_holds_is_said_anew) {
  const std::string text = take_to_json(example_take());
  // As if a person had changed the chord with a text editor: its notes' roles are left over.
  const std::string changed = with(text, "\"chord\": \"Bb:7\"", "\"chord\": \"Gb:7\"");
  const auto take = take_from_json(changed, "example.take");
  ASSERT_TRUE(take) << take.error().message;
  EXPECT_EQ(take->notes[0].unknown_fields_json, "");
  const auto again = nlohmann::json::parse(take_to_json(*take));
  EXPECT_EQ(again["notes"][0]["role"], "third");
  EXPECT_EQ(again["notes"][0]["role_reason"], "the third of Gb7");
  // A file without roles is the same take, and roles of any kind do not make a file damaged.
  auto bare = nlohmann::ordered_json::parse(text);
  for (auto& note : bare["notes"]) {
    note.erase("role");
    note["role_reason"] = 7;
  }
  const auto from_bare = take_from_json(bare.dump(), "example.take");
  ASSERT_TRUE(from_bare) << from_bare.error().message;
  EXPECT_EQ(take_to_json(*from_bare), text);
}

TEST(TakeJson, a_newer_version_is_refused_politely) {
  const std::string text = with(take_to_json(example_take()), "\"version\": 1", "\"version\": 2");
  const auto outcome = take_from_json(text, "example.take");
  ASSERT_FALSE(outcome);
  EXPECT_EQ(outcome.error().code, ErrorCode::unsupported);
  EXPECT_NE(outcome.error().message.find("newer"), std::string::npos);
  EXPECT_NE(outcome.error().message.find("example.take"), std::string::npos);
}

TEST(TakeJson, refuses_what_makes_no_sense_and_names_the_place) {
  const std::string good = take_to_json(example_take());
  struct Case {
    const char* what;
    const char* by;
    const char* named;
  };
  for (const Case& one : {
           Case{"\"midi\": 34", "\"midi\": 340", "Note 1"},
           Case{"\"midi\": 34", "\"midi\": 34.5", "notes[1].midi"},
           Case{"\"midi\": 34", "\"midi\": 4294967330", "notes[1].midi"},
           Case{"\"midi\": 34", "\"midi\": null", "notes[1].midi"},
           Case{"\"midi\": 34", "\"mydi\": 34", "notes[1].midi"},
           Case{"\"id\": 4,", "\"id\": 2,", "id"},
           Case{"\"id\": 4,", "\"id\": 99999,", "id"},
           Case{"\"id\": 4,", "\"id\": -4,", "beats[2].id"},
           Case{"\"onset_samples\": 48000", "\"onset_samples\": 24001", "Note 2"},
           Case{"\"time_samples\": 48000", "\"time_samples\": 24000", "Beat 2"},
           Case{"\"confidence\": 0.6", "\"confidence\": 1.6", "Note 1"},
           Case{"\"confidence\": 0.6", "\"confidence\": NaN", "not a take"},
           Case{"\"confidence\": 0.6", "\"confidence\": 1e999", "not a take"},
           Case{"\"chord\": \"Bb:7\"", "\"chord\": \"Bb:banana\"", "chords[1].chord"},
           Case{"\"state\": \"proposed\"", "\"state\": \"perhaps\"", "state"},
           Case{"\"length_samples\": 960000", "\"length_samples\": 9600", "make"},
           Case{"\"length_samples\": 960000", "\"length_samples\": 99999999999999999999", "length"},
           Case{"\"time_base_hz\": 48000", "\"time_base_hz\": 0", "samples a second"},
           Case{"\"a4_hz\": 441.3", "\"a4_hz\": 44.0", "tuning"},
           Case{"\"open_midi\": [28,", "\"open_midi\": [-28,", "damaged"},
           Case{"\"version\": 1", "\"version\": \"one\"", "version"},
           Case{"lowstride-take", "other-thing", "not a take"},
           Case{"\"notes\": [", "\"notes\": {}, \"x\": [", "notes"},
       }) {
    SCOPED_TRACE(one.by);
    const auto outcome = take_from_json(with(good, one.what, one.by), "example.take");
    ASSERT_FALSE(outcome);
    EXPECT_NE(outcome.error().message.find(one.named), std::string::npos)
        << outcome.error().message;
    EXPECT_NE(outcome.error().message.find("example.take"), std::string::npos);
  }
}

TEST(TakeJson, refuses_brackets_that_nest_without_end) {
  const std::string good = take_to_json(example_take());
  const std::string deep =
      "\"version\": 1, \"x\": " + std::string(200'000, '[') + std::string(200'000, ']');
  EXPECT_FALSE(take_from_json(with(good, "\"version\": 1", deep), "example.take"));
  EXPECT_FALSE(take_from_json(std::string(1'000'000, '['), "example.take"));
  EXPECT_FALSE(take_from_json("", "example.take"));
  EXPECT_FALSE(edit_from_json("{\"edit\": \"group\", \"edits\": [{}]}"));
}

TEST(TakeJson, a_hand_edited_title_with_a_line_break_is_mended) {
  const auto take = take_from_json(
      with(take_to_json(example_take()), "Harbour Steps", "Harbour\\nSteps"), "example.take");
  ASSERT_TRUE(take) << take.error().message;
  EXPECT_EQ(take->title, "Harbour Steps");
}

}  // namespace
}  // namespace lowstride::take
