#pragma once
// Start here: what a question can be asked of, and how it is answered.
//
//   Observations fish("fish");                                    // a row per fish
//   const auto row = fish.add_row("st01", "st01");
//   fish.set(row, "peak_after_capture", measured(412.0, 11.0));
//   fish.set(row, "rig", word("single_hook"));
//   const Finding finding = answer_question(question, fish);      // answer.hpp
//   finding.sentence;                                             // finding.hpp
//
// Rows of one kind (fish, spells, hooked fish, stretches of fishing) with named columns; a cell that is
// missing says why. No file, no clock: `app` fills them from a study's answers.

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "quantity/measured.hpp"
#include "study/observed.hpp"

namespace backeddy::findings {

/// A number with its standard uncertainty, where one is known.
struct Value {
    double value = 0.0;
    std::optional<double> uncertainty;
    /// Where the uncertainty comes from: what two values share cancels in their difference. May be empty.
    std::vector<Contribution> contributions;

    friend bool operator==(const Value&, const Value&) = default;
};

/// What took a fish away before what was waited for could be seen to come: it competes with it.
struct Ending {
    std::string word; ///< "died", "escaped", "withdrawn"
    double at = 0.0;  ///< on the outcome's own scale, above 0

    friend bool operator==(const Ending&, const Ending&) = default;
};

/// A number of which only limits are known; infinite where there is none. A time that has not come by 5 h: 5
/// to infinity; an analyte below 0.3: 0 (or minus infinity) to 0.3. `at` is drawn when it is there.
struct Within {
    double lower = 0.0;
    double upper = 0.0;
    std::optional<double> at;
    /// Of a time that had not come: why it cannot come any more. Nothing: only the looking ended.
    std::optional<Ending> ending;

    friend bool operator==(const Within&, const Within&) = default;
};

struct Word {
    std::string text;

    friend bool operator==(const Word&, const Word&) = default;
};

struct Absent {
    std::string why;              ///< "no rest: the fish died in the night"; empty: the cell is empty
    std::optional<Ending> ending; ///< of a time: that the fish was taken away is all that is known

    friend bool operator==(const Absent&, const Absent&) = default;
};

using Cell = std::variant<Absent, Value, Within, Word>;

using study::Stage;

struct ObservedColumn {
    std::string name;
    std::string title; ///< for sentences: "peak after capture"
    std::string unit;  ///< "mg/kg/h"; empty for words and pure numbers
    Stage stage = Stage::unknown;
    std::vector<Cell> cells; ///< one a row
    /// Of a row: what its cell leaves unsaid. Told of whoever takes part.
    std::map<std::size_t, std::string> told;
    /// Of words with an order (or first the reference): as they are to be sorted; empty: alphabetical.
    std::vector<std::string> levels;
    std::string preposition =
        "with";          ///< between outcome and level: "higher with treble_hooks", "after chase"
    std::string caution; ///< said whenever it is compared: "capture always came first"
    /// By row: why its value must be looked at before it is trusted; said of the rows that take part.
    std::map<std::size_t, std::string> doubts;
    std::string exposure; ///< of counts: the column of what they were counted in ("rod_hours")

    /// Of times: whether endings are written into its cells where there were any, so that none means none.
    bool tells_endings = false;

    /// Of yes or no about what may still come: what "no" means ("alive when last seen"), the column that
    /// holds the time to it, and a row's hours of looking, as far as known. Empty where "no" is all that it
    /// says.
    std::string negative;
    std::string time_to_it;
    std::vector<std::optional<double>> followed_h;

    /// No cell is a number or a limit.
    [[nodiscard]] bool is_words() const;
    [[nodiscard]] bool is_empty() const; ///< no cell holds anything
};

class Observations {
  public:
    /// `noun`: what a row is, in the singular and the plural: "fish", "fish"; "spell", "spells".
    Observations(std::string noun, std::string nouns) : noun_(std::move(noun)), nouns_(std::move(nouns)) {}

    /// `series`: what was watched without a break ("the stay in the tube"); rows of one series are added in
    /// the order of time. Empty: the row stands by itself.
    std::size_t add_row(std::string label, std::string fish, std::string series = "");
    /// Adds the column when it is new: all other cells are absent.
    void set(std::size_t row, const std::string& column, Cell cell);
    /// Adds what a reader of this cell should know.
    void tell(std::size_t row, const std::string& column, const std::string& text);
    /// Title, unit, stage of a column, added when it is new.
    void describe(const std::string& column, std::string title, std::string unit, Stage stage);
    [[nodiscard]] ObservedColumn& column_of(const std::string& name);

    [[nodiscard]] const ObservedColumn* column(std::string_view name) const;
    [[nodiscard]] const std::vector<ObservedColumn>& columns() const { return columns_; }
    [[nodiscard]] std::vector<std::string> names() const;
    [[nodiscard]] std::size_t rows() const { return labels_.size(); }
    [[nodiscard]] const std::string& label(std::size_t row) const { return labels_[row]; }
    /// Whose row it is; empty of none.
    [[nodiscard]] const std::string& fish(std::size_t row) const { return fish_[row]; }
    [[nodiscard]] const std::string& series(std::size_t row) const { return series_[row]; }
    [[nodiscard]] const std::string& noun() const { return noun_; }
    [[nodiscard]] const std::string& nouns() const { return nouns_; }

  private:
    std::string noun_;
    std::string nouns_;
    std::vector<std::string> labels_;
    std::vector<std::string> fish_;
    std::vector<std::string> series_;
    std::vector<ObservedColumn> columns_;
    std::map<std::string, std::size_t, std::less<>> places_;
};

} // namespace backeddy::findings
