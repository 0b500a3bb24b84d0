// Empty: the precompiled headers of the test programs hang on it.
