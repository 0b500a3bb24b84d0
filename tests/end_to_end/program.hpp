#pragma once
// Runs the built program as a person would, in a process of its own.

#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/file.hpp"
#include "support/small_study.hpp"

namespace backeddy::test {

struct Ran {
    int status = -1; ///< exit status; -1 when it did not exit by itself
    std::string out;
    std::string err;
};

/// Starts the program; its words go to the two files. The caller waits for it.
inline ::pid_t start_program(const std::vector<std::string>& words, const std::filesystem::path& out,
                             const std::filesystem::path& err) {
    std::vector<std::string> all{BACKEDDY_PROGRAM};
    all.insert(all.end(), words.begin(), words.end());
    std::vector<char*> arguments;
    arguments.reserve(all.size() + 1);
    for (auto& word : all) {
        arguments.push_back(word.data());
    }
    arguments.push_back(nullptr);
    const ::pid_t child = ::fork();
    if (child == 0) {
        const auto redirect = [](const std::filesystem::path& to, int descriptor) {
            const int file = ::open(to.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
            ::dup2(file, descriptor);
        };
        redirect(out, STDOUT_FILENO);
        redirect(err, STDERR_FILENO);
        ::execv(arguments.front(), arguments.data());
        ::_exit(127);
    }
    return child;
}

/// Runs it to its end. Its words are kept beside, not in, `scratch`'s study.
inline Ran run_program(const ScratchFolder& scratch, const std::vector<std::string>& words) {
    const auto out = scratch.path() / "said_out";
    const auto err = scratch.path() / "said_err";
    const ::pid_t child = start_program(words, out, err);
    int state = 0;
    ::waitpid(child, &state, 0);
    return {.status = WIFEXITED(state) ? WEXITSTATUS(state) : -1,
            .out = read_file(out).value_or(std::string()),
            .err = read_file(err).value_or(std::string())};
}

} // namespace backeddy::test
