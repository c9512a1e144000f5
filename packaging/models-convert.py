"""Rewrites one ONNX Runtime model file as plain ONNX that any runtime reads.

usage: models-convert.py IN.ort OUT.onnx [first | step]

ONNX Runtime saves its own fused operators ("com.microsoft"). Each is replaced
by the standard operators it stands for. An operator this script does not know stops it: a model that is
silently wrong would be worse than none.

The decoder is two graphs in one, chosen by a flag at each step. "first" takes the
one for the first token, "step" the one that goes on from what was kept: alone,
its weights can be laid out for speed once, when it is loaded.
"""

import sys

import numpy as np
import onnx
import onnxruntime
from onnx import TensorProto, helper, numpy_helper


def to_onnx(source, target):
    """Has ONNX Runtime itself write the graph it loads."""
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    options.optimized_model_filepath = target
    options.add_session_config_entry("session.save_model_format", "ONNX")
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    onnxruntime.InferenceSession(source, options, providers=["CPUExecutionProvider"])


class Rewriter:
    """Replaces fused operators in a graph and in the graphs inside it."""

    def __init__(self):
        self.constants = {}
        self.count = 0
        self.nodes = []

    def constant(self, value):
        name = f"chalk_constant_{value!r}"
        self.constants[name] = np.array(value, np.float32)
        return name

    def add(self, operator, inputs, output=None, **attributes):
        """Adds a standard operator; gives the name of what it makes."""
        if output is None:
            self.count += 1
            output = f"chalk_{self.count}"
        while inputs and not inputs[-1]:
            inputs = inputs[:-1]
        self.nodes.append(helper.make_node(operator, inputs, [output], **attributes))
        return output

    def graph(self, graph):
        old, outer = list(graph.node), self.nodes
        self.nodes = []
        for node in old:
            for attribute in node.attribute:
                if attribute.HasField("g"):
                    self.graph(attribute.g)
            if node.domain == "com.microsoft":
                self.fused(node)
            else:
                self.nodes.append(node)
        del graph.node[:]
        graph.node.extend(self.nodes)
        self.nodes = outer

    def fused(self, node):
        rewrite = getattr(self, f"rewrite_{node.op_type}", None)
        if rewrite is None:
            sys.exit(f"no plain form is known for the operator {node.op_type}")
        attributes = {a.name: helper.get_attribute_value(a) for a in node.attribute}
        rewrite(list(node.input) + [""] * 8, list(node.output), attributes)

    def scaled_integer_product(self, product, scale_a, scale_b, bias, output):
        real = self.add("Cast", [product], to=TensorProto.FLOAT)
        scale = self.add("Mul", [scale_a, scale_b])
        if bias:
            self.add("Add", [self.add("Mul", [real, scale]), bias], output)
        else:
            self.add("Mul", [real, scale], output)

    def rewrite_DynamicQuantizeMatMul(self, given, made, _):
        a, b, b_scale, b_zero, bias = given[:5]
        self.count += 1
        parts = [f"chalk_{self.count}_{p}" for p in ("quantised", "scale", "zero")]
        self.nodes.append(helper.make_node("DynamicQuantizeLinear", [a], parts))
        product = self.add("MatMulInteger", [parts[0], b, parts[2], b_zero])
        self.scaled_integer_product(product, parts[1], b_scale, bias, made[0])

    def rewrite_MatMulIntegerToFloat(self, given, made, _):
        a, b, a_scale, b_scale, a_zero, b_zero, bias = given[:7]
        product = self.add("MatMulInteger", [a, b, a_zero, b_zero])
        self.scaled_integer_product(product, a_scale, b_scale, bias, made[0])

    def rewrite_Gelu(self, given, made, _):
        x = given[0]
        erf = self.add("Erf", [self.add("Div", [x, self.constant(2.0**0.5)])])
        weighted = self.add("Mul", [x, self.add("Add", [erf, self.constant(1.0)])])
        self.add("Mul", [weighted, self.constant(0.5)], made[0])

    def rewrite_QuickGelu(self, given, made, attributes):
        alpha = self.constant(attributes.get("alpha", 1.702))
        gate = self.add("Sigmoid", [self.add("Mul", [given[0], alpha])])
        self.add("Mul", [given[0], gate], made[0])

    def rewrite_FusedMatMul(self, given, made, attributes):
        sides = []
        for side, flag in zip(given[:2], ("transA", "transB")):
            flip = attributes.get(flag, 0)
            sides.append(self.add("Transpose", [side], perm=[0, 1, 3, 2]) if flip else side)
        product = self.add("MatMul", sides)
        self.add("Mul", [product, self.constant(attributes.get("alpha", 1.0))], made[0])

    def rewrite_FusedConv(self, given, made, attributes):
        activation = attributes.pop("activation").decode()
        if attributes.pop("activation_params", None):
            sys.exit(f"no plain form is known for a convolution with a tuned {activation}")
        self.add(activation, [self.add("Conv", given[:3], **attributes)], made[0])

    def rewrite_SkipLayerNormalization(self, given, made, attributes):
        x, skip, gamma, beta, bias = given[:5]
        total = self.add("Add", [x, skip])
        if bias:
            total = self.add("Add", [total, bias])
        epsilon = attributes.get("epsilon", 1e-5)
        self.add("LayerNormalization", [total, gamma, beta], made[0], axis=-1, epsilon=epsilon)
        if len(made) > 3 and made[3]:
            self.add("Identity", [total], made[3])


def take_branch(model, name):
    """Makes one branch of the graph's only choice the whole graph."""
    graph = model.graph
    (choice,) = [node for node in graph.node if node.op_type == "If"]
    (branch,) = [a.g for a in choice.attribute if a.name == name]
    made = [output.name for output in branch.output]
    if made != list(choice.output):
        sys.exit(f"the outputs of {name} are not those of the whole")
    nodes = [node for node in graph.node if node.op_type != "If"] + list(branch.node)
    weights = list(graph.initializer) + list(branch.initializer)
    # A step does not compute the sound's keys again: those outputs are empty.
    maker = {output: node for node in nodes for output in node.output}
    needed, asked = set(), [output for output in made if output in maker]
    while asked:
        value = asked.pop()
        if value in needed:
            continue
        needed.add(value)
        if value in maker:
            asked.extend(maker[value].input)
    keep = [node for node in nodes if needed & set(node.output)]
    inputs = [value for value in graph.input if value.name in needed]
    outputs = [value for value in graph.output if value.name in needed]
    initializers = [weight for weight in weights if weight.name in needed]
    for field, values in (("node", keep), ("input", inputs), ("output", outputs),
                          ("initializer", initializers)):
        del getattr(graph, field)[:]
        getattr(graph, field).extend(values)
    del graph.value_info[:]


def signed_weights(graph):
    """Stores the weights of products as signed bytes around a zero of 0.

    A runtime can lay out such weights once, when it loads them; others it
    converts at each step. The few that are out of a signed byte's reach are cut
    to it: about one in 200,000, which `packaging/hearing-table` cannot tell.
    """
    stored = {weight.name: weight for weight in graph.initializer}
    made, cut, count = {}, 0, 0
    for node in graph.node:
        if node.op_type != "MatMulInteger":
            continue
        name, zero = node.input[1], node.input[3]
        if name not in made:
            values = numpy_helper.to_array(stored[name]).astype(np.int32)
            values = values - numpy_helper.to_array(stored[zero]).astype(np.int32)
            signed = np.clip(values, -128, 127)
            cut += int((signed != values).sum())
            count += values.size
            made[name] = numpy_helper.from_array(signed.astype(np.int8), f"{name}_signed")
        del node.input[3]
        node.input[1] = f"{name}_signed"
    if cut > count // 100_000:
        sys.exit(f"{cut} of {count} weights do not fit a signed byte")
    graph.initializer.extend(made.values())
    used = {name for node in graph.node for name in node.input}
    left = [weight for weight in graph.initializer if weight.name in used]
    del graph.initializer[:]
    graph.initializer.extend(left)


def batch_as_rows(graph):
    """Multiplies a whole batch at once where each hypothesis is one row.

    In a step every product is (batch, 1, n) by (n, m), which a runtime may take
    as `batch` products of one row, reading all weights each time. As
    (1, batch, n) it is one product, and the weights are read once.
    """
    nodes = []
    for node in graph.node:
        if node.op_type != "MatMulInteger":
            nodes.append(node)
            continue
        rows, product = f"{node.output[0]}_rows", f"{node.output[0]}_product"
        swap = [1, 0, 2]
        nodes.append(helper.make_node("Transpose", [node.input[0]], [rows], perm=swap))
        nodes.append(helper.make_node(node.op_type, [rows, *node.input[1:]], [product]))
        nodes.append(helper.make_node("Transpose", [product], [node.output[0]], perm=swap))
    del graph.node[:]
    graph.node.extend(nodes)


def name_graphs(graph, name):
    """Gives every inner graph a name, which the standard asks for."""
    graph.name = graph.name or name
    for number, node in enumerate(graph.node):
        for attribute in node.attribute:
            if attribute.HasField("g"):
                name_graphs(attribute.g, f"{name}_{number}_{attribute.name}")


def main(source, target, part=None):
    to_onnx(source, target)
    model = onnx.load(target)
    name_graphs(model.graph, "main")
    rewriter = Rewriter()
    rewriter.graph(model.graph)
    for name, value in rewriter.constants.items():
        model.graph.initializer.append(numpy_helper.from_array(value, name))
    if part == "first":
        take_branch(model, "else_branch")
    elif part == "step":
        take_branch(model, "then_branch")
        batch_as_rows(model.graph)
    elif part is not None:
        sys.exit(__doc__)
    signed_weights(model.graph)
    standard = [o for o in model.opset_import if o.domain == ""]
    del model.opset_import[:]
    model.opset_import.extend(standard)
    model.ir_version = min(model.ir_version, 9)
    onnx.checker.check_model(model)
    onnx.save(model, target)


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    main(*sys.argv[1:])
