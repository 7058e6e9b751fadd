<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>skyline_bearings</Name>
    <UserStyle>
      <Name>skyline_bearings</Name>
      <Title>Skyline bearing by bearing</Title>
      <Abstract>One dot a bearing, hollow where the true skyline may lie farther off.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>ground</Name>
          <Title>Ground against the sky</Title>
          <ogc:Filter>
            <ogc:PropertyIsEqualTo>
              <ogc:PropertyName>state</ogc:PropertyName>
              <ogc:Literal>ground</ogc:Literal>
            </ogc:PropertyIsEqualTo>
          </ogc:Filter>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>circle</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#14121A</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">0.5</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>4.3</Size>
            </Graphic>
          </PointSymbolizer>
        </Rule>
        <Rule>
          <Name>reach</Name>
          <Title>Ends at the reach</Title>
          <ogc:Filter>
            <ogc:PropertyIsEqualTo>
              <ogc:PropertyName>state</ogc:PropertyName>
              <ogc:Literal>reach</ogc:Literal>
            </ogc:PropertyIsEqualTo>
          </ogc:Filter>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>circle</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#FDFBF5</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">1.1</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>4.3</Size>
            </Graphic>
          </PointSymbolizer>
        </Rule>
        <Rule>
          <Name>terrain_edge</Name>
          <Title>Ends at the terrain's edge</Title>
          <ogc:Filter>
            <ogc:PropertyIsEqualTo>
              <ogc:PropertyName>state</ogc:PropertyName>
              <ogc:Literal>terrain_edge</ogc:Literal>
            </ogc:PropertyIsEqualTo>
          </ogc:Filter>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>circle</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#FDFBF5</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">1.1</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>4.3</Size>
            </Graphic>
          </PointSymbolizer>
        </Rule>
        <Rule>
          <Name>void</Name>
          <Title>Ends at a void</Title>
          <ogc:Filter>
            <ogc:PropertyIsEqualTo>
              <ogc:PropertyName>state</ogc:PropertyName>
              <ogc:Literal>void</ogc:Literal>
            </ogc:PropertyIsEqualTo>
          </ogc:Filter>
          <PointSymbolizer>
            <Graphic>
              <Mark>
                <WellKnownName>circle</WellKnownName>
                <Fill>
                  <CssParameter name="fill">#FDFBF5</CssParameter>
                </Fill>
                <Stroke>
                  <CssParameter name="stroke">#14121A</CssParameter>
                  <CssParameter name="stroke-width">1.1</CssParameter>
                  <CssParameter name="stroke-linejoin">round</CssParameter>
                </Stroke>
              </Mark>
              <Size>4.3</Size>
            </Graphic>
          </PointSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
