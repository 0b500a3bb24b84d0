#pragma once
// The fast way for plain lines: ISO times, numbers, whole words, one byte between fields, no quotes. Every
// line it is not sure of it leaves to RowReader, so that it can only be faster, never different.

#include <array>
#include <cstdint>
#include <string_view>
#include <vector>

#include "intake/detail/block.hpp"

namespace backeddy::intake {

class PlainRows {
  public:
    /// Whether the dialect is one for this way.
    [[nodiscard]] static bool suits(const Plan& plan);

    PlainRows(const Plan& plan, ParsedBlock& block);

    /// Reads rows from `at` on while it is sure of them, the first being line `number` of the block; both are
    /// moved on. Stops before the first line that is for RowReader, or at `end`. Up to 64 bytes behind `end`
    /// may be looked at.
    void read(const char*& at, const char* end, std::uint64_t& number);
    /// To be called after rows were added to the block by other ways.
    void forget_chunks();

  private:
    enum class Task : std::uint8_t { time, chamber, number, pump, skip };
    struct Field {
        Task task = Task::skip;
        std::size_t reading = 0;
        Unit unit = Unit::mg_per_l;
        bool converts = false;
    };
    /// Short words by their bytes: a small table that remembers what a word meant.
    struct Word {
        std::uint64_t key = 0;
        std::size_t stream = 0;
        double value = 0.0;
    };
    static constexpr std::size_t words_kept = 256;
    static constexpr std::size_t most_readings = 24;
    struct Writer {
        BlockChunk* chunk = nullptr;
        std::size_t room = 0;
        std::int64_t* times = nullptr;
        std::array<double*, most_readings> columns{};
    };
    // Filled before it is read; clearing it would cost every row.
    // NOLINTNEXTLINE(cppcoreguidelines-pro-type-member-init)
    struct Cells {
        std::int64_t time_ns = 0;
        std::size_t stream = 0;
        std::array<double, most_readings> values;
    };

    // One after the other for each row: folded into one loop, so that the place in the text stays in a
    // register.
    [[gnu::always_inline]] inline bool read_row(const char*& at, Cells& cells);
    [[gnu::always_inline]] inline bool read_time(const char*& p, std::int64_t& time_ns);
    [[gnu::always_inline]] inline bool read_number(const char*& p, char stop, double& value) const;
    [[gnu::noinline]] bool read_long_number(const char*& p, char stop, double& value) const;
    [[gnu::always_inline]] inline bool read_word(const char*& p, char stop,
                                                 std::array<Word, words_kept>& words, Task task, Word& word);
    [[gnu::noinline]] bool learn_word(std::string_view text, std::uint64_t key, Task task, Word& kept);
    [[gnu::noinline]] bool remember_minute(const char* p);
    [[gnu::noinline]] void open_writer(std::size_t stream);
    [[gnu::always_inline]] inline void keep(const Cells& cells, std::uint64_t number);

    const Plan& plan_;
    ParsedBlock& block_;
    char delimiter_;
    std::vector<Field> fields_;
    std::size_t readings_;
    std::array<char, 16> minute_text_{};
    std::int64_t minute_ns_ = 0;
    bool wants_z_ = false; ///< times end in Z; otherwise they are local
    Zone zone_;
    std::array<Word, words_kept> chambers_{};
    std::array<Word, words_kept> pumps_{};
    std::vector<Writer> writers_; ///< per stream of the block
};

} // namespace backeddy::intake
