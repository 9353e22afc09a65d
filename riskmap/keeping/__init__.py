"""Results that are kept between runs: values as files, files under keys, versions of code."""
