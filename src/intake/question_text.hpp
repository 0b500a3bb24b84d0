#pragma once
// A [[question]] as study.toml writes it, and the brief's text with one more of them, one changed or one
// less. All else stays byte for byte, remarks too.
//
//   const QuestionKeys keys{{"name", "rig_peak"}, {"outcome", "peak"}, {"compare", "rig"}};
//   question_text(keys);   // "[[question]]\nname = \"rig_peak\"\n..."

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "study/brief.hpp"

namespace backeddy::intake {

/// Keys with their values, in the order in which they are to stand. A value that is not set is left out.
using QuestionKeys = std::vector<std::pair<std::string, study::SettingValue>>;

/// Its header and a line for each key, whatever characters are in keys and texts; lines end in "\n".
[[nodiscard]] std::string question_text(const QuestionKeys& keys);

// What follows fails with bad_setting where the brief is no TOML or holds its questions in another form than
// [[question]] (they are changed as text then), with unknown_name where no question is called so, and with
// our_bug where the text would say something else than was wished, or of anything else: never a wrong text.

/// The question at the end of the brief, `remark` above it as a comment, line by line.
[[nodiscard]] Expected<std::string> with_question(std::string_view brief, const QuestionKeys& keys,
                                                  std::string_view remark);

/// The question `name` says what `keys` say: a key that says the same stays as it is written, one that is not
/// in `keys` goes with its line.
[[nodiscard]] Expected<std::string> with_question_changed(std::string_view brief, std::string_view name,
                                                          const QuestionKeys& keys);

/// The question `name` is gone, with what stands between its header and its last key, and the remark that
/// with_question() has put above it.
[[nodiscard]] Expected<std::string> without_question(std::string_view brief, std::string_view name);

/// What every remark of with_question() begins with.
inline constexpr std::string_view asked_remark = "# Asked on the pages";

} // namespace backeddy::intake
