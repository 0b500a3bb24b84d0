#include "app/kept_results.hpp"

#include <algorithm>
#include <map>
#include <system_error>
#include <utility>

#include <fmt/format.h>

#include "app/photos.hpp"
#include "app/version.hpp"
#include "base/file.hpp"
#include "base/hash.hpp"
#include "store/journal.hpp"
#include "store/segment.hpp"

namespace backeddy::app {

namespace fs = std::filesystem;

namespace {

constexpr const char* results_name = "results";
constexpr std::uint64_t most_list_bytes = std::uint64_t{16} << 20;

/// Path inside the folder and SHA-256.
using Hashes = std::map<std::string, std::string>;

/// Whether a file can change an answer: hidden ones, results, the journal's own files and copies (its entries
/// count) and editors' copies cannot.
bool is_of_the_study(const fs::path& path) {
    const std::string name = path.filename().string();
    return !name.starts_with('.') && !name.starts_with('~') && !name.starts_with(store::journal_name);
}

/// Every file of the study; none of them read. Nothing where the folder cannot be gone through.
std::optional<std::vector<std::string>> study_files(const fs::path& folder) {
    std::vector<std::string> out;
    std::error_code error;
    fs::recursive_directory_iterator at(folder, error);
    for (; !error && at != fs::recursive_directory_iterator(); at.increment(error)) {
        const auto path = at->path().lexically_relative(folder);
        if (at->is_directory(error)) {
            if (path == results_name || path == store::watch_folder || !is_of_the_study(path)) {
                at.disable_recursion_pending();
            }
        } else if (is_of_the_study(path)) {
            out.push_back(path.generic_string());
        }
    }
    if (error) {
        return std::nullopt;
    }
    std::ranges::sort(out);
    return out;
}

/// A photo is named by its hash, and only whether it is there counts.
std::string hash_of(const fs::path& folder, const std::string& path) {
    if (path.starts_with(std::string(photos_name) + "/")) {
        return std::string(64, '0');
    }
    auto hash = sha256_of_file(folder / path);
    return hash ? std::move(*hash) : "unreadable";
}

/// Hashes of these files; `known` are not read.
std::string listed(const fs::path& folder, const std::vector<std::string>& files, const Hashes& known,
                   Threads threads) {
    std::vector<std::string> lines(files.size());
    parallel_for(files.size(), threads, [&](std::size_t i) {
        const auto found = known.find(files[i]);
        lines[i] = fmt::format("{}  {}\n", found == known.end() ? hash_of(folder, files[i]) : found->second,
                               files[i]);
    });
    std::string out;
    for (const auto& line : lines) {
        out += line;
    }
    return out;
}

std::string head(const std::string& journal) {
    return fmt::format("# Of backeddy {}: what results/ was made of. A cache: it may be deleted.\n{}  {}\n",
                       program_version, journal, store::journal_name);
}

/// A list that was cut short at the end of a line would pass for one of fewer results.
constexpr std::string_view last_line = "# That is all.\n";

std::string line_of(const ResultFile& file) {
    return fmt::format("{}  {}/{}\n", sha256_hex(std::string_view(file.bytes)), results_name, file.name);
}

/// The names that such lines give; nothing where one is no plain name.
std::optional<std::vector<std::string>> result_names(std::string_view lines) {
    std::vector<std::string> out;
    const std::string before = fmt::format("  {}/", results_name);
    while (!lines.empty()) {
        const auto line = lines.substr(0, lines.find('\n'));
        const auto at = line.find(before);
        if (at == std::string_view::npos || line.size() == lines.size()) {
            return std::nullopt;
        }
        auto name = std::string(line.substr(at + before.size()));
        if (name.empty() || name.starts_with('.') || name.find('/') != std::string::npos) {
            return std::nullopt;
        }
        out.push_back(std::move(name));
        lines.remove_prefix(line.size() + 1);
    }
    return out.empty() ? std::nullopt : std::optional(std::move(out));
}

} // namespace

std::string journal_sha256(const JournalRead& journal) {
    std::string text = journal.input ? journal.input->sha256 : std::string();
    for (const auto& complaint : journal.complaints) {
        text += "\n" + complaint.error.text();
    }
    return sha256_hex(std::string_view(text));
}

Expected<void> keep_made_of(const fs::path& folder, std::span<const report::Input> inputs,
                            const std::string& journal, std::span<const ResultFile> files, Threads threads) {
    const auto found = study_files(folder);
    if (!found) {
        return fail(
            {.code = ErrorCode::file_unreadable, .found = "the study's folder cannot be gone through"});
    }
    Hashes known;
    for (const auto& input : inputs) {
        if (input.path == store::journal_name) {
            continue;
        }
        if (!std::ranges::binary_search(*found, input.path)) {
            return fail(
                {.code = ErrorCode::bad_relation,
                 .found = fmt::format("{} lies behind a link: whether it changes is not seen", input.path)});
        }
        if (!input.sha256.empty()) {
            known.emplace(input.path, input.sha256);
        }
    }
    std::string text = head(journal) + listed(folder, *found, known, threads);
    for (const auto& file : files) {
        text += line_of(file);
    }
    text += last_line;
    const auto path = folder / made_of_path;
    std::error_code error;
    fs::create_directory(path.parent_path(), error);
    return write_file_whole(path, text);
}

std::optional<std::vector<ResultFile>> kept_results(const fs::path& folder, Threads threads) {
    const auto list = read_file(folder / made_of_path, most_list_bytes);
    const auto files = list ? study_files(folder) : std::nullopt;
    if (!files) {
        return std::nullopt;
    }
    const auto begin = head(journal_sha256(read_journal(folder)));
    if (!list->starts_with(begin)) {
        return std::nullopt;
    }
    const auto inputs = listed(folder, *files, {}, threads);
    auto rest = std::string_view(*list).substr(begin.size());
    if (!rest.starts_with(inputs) || !rest.ends_with(last_line) ||
        rest.size() < inputs.size() + last_line.size()) {
        return std::nullopt;
    }
    rest = rest.substr(inputs.size(), rest.size() - inputs.size() - last_line.size());
    const auto names = result_names(rest);
    if (!names) {
        return std::nullopt;
    }
    std::vector<ResultFile> out(names->size());
    parallel_for(out.size(), threads, [&](std::size_t i) {
        auto bytes = read_file(folder / results_name / (*names)[i]);
        out[i] = {.name = (*names)[i], .bytes = bytes ? std::move(*bytes) : std::string()};
    });
    std::string lines;
    for (const auto& file : out) {
        lines += line_of(file);
    }
    return lines == rest ? std::optional(std::move(out)) : std::nullopt;
}

} // namespace backeddy::app
