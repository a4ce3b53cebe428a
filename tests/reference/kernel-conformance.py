"""The kernel under jupyter_kernel_test, the conformance suite of the Jupyter project (Debian: python3-jupyter-kernel-test).

JUPYTER_PATH says where the kernel is installed. Run by kernel-conformance.test.ts.
"""

import unittest

import jupyter_kernel_test


class NightyieldKernelTests(jupyter_kernel_test.KernelTests):
    kernel_name = "nightyield"
    language_name = "typescript"
    file_extension = ".ts"
    code_hello_world = "console.log('hello, world')"
    code_stderr = "console.error('no clear sky')"
    completion_samples = [
        {"text": "Number.isSaf", "matches": {"isSafeInteger"}},
        {"text": "'night'.toUpperC", "matches": {"toUpperCase"}},
    ]
    complete_code_samples = ["1", "console.log('hello')", "function f(x: number): number { return x * 2 }", "await f()", "const a = `one\ntwo`"]
    incomplete_code_samples = ["function f(x: number) {", "console.log(", "const a = `one", "/* not yet", "[1, 2,", "1 +"]
    invalid_code_samples = ["const = 1", "let x = )", "}"]
    code_page_something = "page('a long text')"
    code_generate_error = "throw new Error('clouds')"
    code_execute_result = [
        {"code": "6 * 7", "result": "42"},
        {"code": "'night'", "result": "'night'"},
        {"code": "await Promise.resolve([1, 2])", "result": "[ 1, 2 ]"},
    ]
    code_display_data = [
        {"code": "show({ data: [{ type: 'bar', x: ['a'], y: [1] }], layout: {} })", "mime": "application/vnd.plotly.v1+json"},
        {"code": "display({ 'text/html': '<b>sky</b>' })", "mime": "text/html"},
    ]
    code_history_pattern = "6 *"
    supported_history_operations = ("tail", "range", "search")
    code_inspect_sample = "Number.isSafeInteger"
    code_clear_output = "clearOutput()"


if __name__ == "__main__":
    unittest.main(verbosity=2)
